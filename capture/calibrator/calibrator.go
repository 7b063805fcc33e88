// Package calibrator measures the recording of a sound calibrator: the sound
// pressure that a sample value stands for, and whether it was a calibrator at all.
// It knows samples and a level, and neither files nor studies.
package calibrator

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"math/cmplx"
	"sort"

	"github.com/mjibson/go-dsp/spectral"
	"gonum.org/v1/gonum/floats"

	"asworn/capture/exposure"
)

// DefaultDBSPL is the level of most calibrators, dB re 20 µPa.
const DefaultDBSPL = 94.0

// MostDriftDB is how far two calibrations of one study may be apart before it
// matters. Common practice, no source.
const MostDriftDB = 0.2

// Calibration is what the recording of a sound calibrator says about a
// measuring chain.
type Calibration struct {
	PaPerUnit   float64 // sound pressure of a sample value of 1 (full scale), Pa
	Hz          float64 // frequency of the tone by the recorder's clock
	LevelDBFS   float64 // of the tone: RMS re a sine of full scale, dB
	PurityDB    float64 // the tone's power over all else but d.c., dB
	StabilityDB float64 // largest less smallest level of a tenth of a second
}

// Criteria of a calibrator recording. Those of the calibrator itself are
// tighter (IEC 60942, quoted from memory: ±1 % in frequency, 3 % distortion);
// these say whether a calibrator was recorded at all and sat still. Common
// practice, no source.
const (
	frequencyTolerance = 0.03
	fewestPurityDB     = 20
	mostUnsteadyDB     = 0.5
)

// nominalHz are the frequencies of calibrators and pistonphones.
var nominalHz = [...]float64{1000, 250}

// Measure measures a calibrator of a known level in dB SPL. The tone's
// frequency is found, its amplitude fitted by least squares in blocks of a
// tenth of a second (IEEE 1057, three parameters), and the middle 80 % of the
// recording counts. It returns an error when that was no steady tone of 1 kHz
// or 250 Hz.
func Measure(x []float64, rateHz, dbSPL float64) (Calibration, error) {
	cut := len(x) / 10
	x = x[cut : len(x)-cut]
	block := int(rateHz / 10)
	if len(x) < 5*block {
		return Calibration{}, fmt.Errorf("%.1f s are too short for a calibrator; record 5 s or more", float64(len(x))/rateHz/0.8)
	}
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	if peak == 0 {
		return Calibration{}, errors.New("silence; record the calibrator on this channel")
	}
	c := Calibration{Hz: coarseTone(x, rateHz)}
	var amplitudes []complex128
	for range 3 { // phase over the blocks refines the frequency
		amplitudes = amplitudes[:0]
		var total, explained float64
		for at := 0; at+block <= len(x); at += block {
			a, power, fitted := fitTone(x[at:at+block], 2*math.Pi*c.Hz/rateHz, at)
			amplitudes = append(amplitudes, a)
			total, explained = total+power, explained+fitted
		}
		c.PurityDB = min(120, 10*math.Log10(explained/max(total-explained, 1e-12*explained)))
		turn := 0.0
		for i := 1; i < len(amplitudes); i++ {
			turn += cmplx.Phase(amplitudes[i] * cmplx.Conj(amplitudes[i-1]))
		}
		c.Hz += turn / float64(len(amplitudes)-1) / (2 * math.Pi) * rateHz / float64(block)
	}
	low, high, power := math.Inf(1), 0.0, 0.0
	for _, a := range amplitudes {
		v := cmplx.Abs(a)
		low, high, power = min(low, v), max(high, v), power+v*v
	}
	rms := math.Sqrt(power / float64(len(amplitudes)) / 2)
	c.StabilityDB = min(100, 20*math.Log10(high/low))
	c.LevelDBFS = 20 * math.Log10(rms*math.Sqrt2)
	c.PaPerUnit = exposure.ReferencePa * math.Pow(10, dbSPL/20) / rms
	return c, c.check(peak)
}

func (c Calibration) check(peak float64) error {
	near := false
	for _, hz := range nominalHz {
		near = near || math.Abs(c.Hz/hz-1) <= frequencyTolerance
	}
	switch {
	case !(c.PurityDB >= fewestPurityDB):
		return fmt.Errorf("the strongest tone, %.0f Hz, is only %.0f dB above all else; a calibrator gives %d or more: see that it is on, seated, and on this channel", c.Hz, c.PurityDB, fewestPurityDB)
	case !near:
		return fmt.Errorf("the tone has %.1f Hz; a calibrator has 1000 or 250 Hz: see the rate, and that it was a calibrator", c.Hz)
	case c.StabilityDB > mostUnsteadyDB:
		return fmt.Errorf("the level moves by %.2f dB, more than %g: seat the calibrator and record it again without touching it", c.StabilityDB, mostUnsteadyDB)
	case peak >= 1-1.0/(1<<15):
		return errors.New("the tone reaches full scale; lower the gain, and keep it for all recordings of the study")
	}
	return nil
}

// coarseTone returns the frequency of the strongest line between 100 Hz and
// 2.5 kHz in a Welch spectrum (Hann windows of about a second).
func coarseTone(x []float64, rateHz float64) float64 {
	size := 1 << (bits.Len(uint(rateHz)) - 1)
	density, hz := spectral.Pwelch(x, rateHz, &spectral.PwelchOptions{NFFT: size})
	low, high := sort.SearchFloat64s(hz, 100), sort.SearchFloat64s(hz, 2500)
	return hz[low+floats.MaxIdx(density[low:high])]
}

// fitTone fits sine, cosine and d.c. at w radians per sample to one block that
// begins at sample start. It returns the complex amplitude with the phase of
// the whole recording, the block's power without d.c., and the tone's part.
func fitTone(x []float64, w float64, start int) (amplitude complex128, power, fitted float64) {
	var mean float64
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	// Normal equations of cosine, sine and d.c., the last solved beforehand.
	var cc, cs, ss, xc, xs, sumCos, sumSin float64
	for i, v := range x {
		sin, cos := math.Sincos(w * float64(start+i))
		v -= mean
		cc, cs, ss = cc+cos*cos, cs+cos*sin, ss+sin*sin
		xc, xs = xc+v*cos, xs+v*sin
		sumCos, sumSin = sumCos+cos, sumSin+sin
		power += v * v
	}
	n := float64(len(x))
	cc, cs, ss = cc-sumCos*sumCos/n, cs-sumCos*sumSin/n, ss-sumSin*sumSin/n
	det := cc*ss - cs*cs
	a, b := (xc*ss-xs*cs)/det, (xs*cc-xc*cs)/det
	return complex(a, -b), power, a*xc + b*xs
}
