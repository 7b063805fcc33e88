// Package export writes results in forms that other tools take: corrections
// as FIR filters, impulse responses and filters as WAV files, directional sets
// as text.
package export

import (
	"fmt"
	"math"
	"math/bits"
	"sort"

	"github.com/mjibson/go-dsp/window"
	"gonum.org/v1/gonum/dsp/fourier"
)

// Filter is a finite impulse response that applies a level curve.
type Filter struct {
	Taps   []float64
	RateHz float64
	// Delay is the delay in samples: (len(Taps)−1)/2 for linear phase, 0 for
	// minimum phase, which delays each frequency by as little as a causal
	// filter of that magnitude can.
	Delay float64
	// MaxErrorDB is the largest departure of the filter's own response from
	// the wanted level at the frequencies of the curve below 0.45 of the rate.
	MaxErrorDB float64
	// PeakDB is the highest gain: what the signal needs in headroom.
	PeakDB float64
}

// defaultTaps returns a filter length for the rate: a power of two of at least
// 0.15 s, enough to follow 1/24 octaves within about 0.1 dB where a curve
// bends by 6 dB or less in an octave.
func defaultTaps(rateHz float64) int {
	return ceilPow2(int(math.Ceil(0.15 * rateHz)))
}

// linearPhase designs a symmetric FIR filter of an odd number of taps (taps is
// rounded up to odd) whose magnitude follows the levels db (dB) at the rising
// frequencies hz: linear in level over log frequency between them, level
// beyond the ends. It is the frequency-sampling design with a Hann window
// (Oppenheim & Schafer, Discrete-Time Signal Processing, chapter 7).
func linearPhase(hz, db []float64, rateHz float64, taps int) (Filter, error) {
	if err := checkCurve(hz, db, rateHz, taps); err != nil {
		return Filter{}, err
	}
	taps |= 1
	n := 8 * ceilPow2(taps)
	fft := fourier.NewFFT(n)
	spec := make([]complex128, n/2+1)
	for k, level := range gridLevels(hz, db, rateHz, n) {
		spec[k] = complex(math.Pow(10, level/20), 0)
	}
	h := fft.Sequence(nil, spec) // zero phase, centred on sample 0
	half := taps / 2
	out, taper := make([]float64, taps), window.Hann(2*half+3)
	for i := range out {
		out[i] = taper[i+1] * h[(i-half+n)%n] / float64(n)
	}
	return finish(out, float64(half), hz, db, rateHz), nil
}

// minimumPhase designs a causal FIR filter of the same magnitude with the
// least delay, by folding the real cepstrum (Oppenheim & Schafer, chapter 12).
// The last quarter is faded out (half Hann).
func minimumPhase(hz, db []float64, rateHz float64, taps int) (Filter, error) {
	if err := checkCurve(hz, db, rateHz, taps); err != nil {
		return Filter{}, err
	}
	// The cepstrum is aliased in time; sixteen times the length leaves nothing
	// of that to hear.
	n := 16 * ceilPow2(taps)
	fft := fourier.NewFFT(n)
	spec := make([]complex128, n/2+1)
	for k, level := range gridLevels(hz, db, rateHz, n) {
		spec[k] = complex(level*math.Ln10/20, 0)
	}
	cepstrum := fft.Sequence(nil, spec)
	for i := range cepstrum {
		switch {
		case i == 0 || i == n/2:
			cepstrum[i] /= float64(n)
		case i < n/2:
			cepstrum[i] *= 2 / float64(n)
		default:
			cepstrum[i] = 0
		}
	}
	fft.Coefficients(spec, cepstrum)
	for k, c := range spec {
		sin, cos := math.Sincos(imag(c))
		m := math.Exp(real(c))
		spec[k] = complex(m*cos, m*sin)
	}
	h := fft.Sequence(nil, spec)
	out := make([]float64, taps)
	fade := taps - taps/4
	taper := window.Hann(2*(taps-fade) + 3)[taps-fade+2:] // its falling half
	for i := range out {
		out[i] = h[i] / float64(n)
		if i >= fade {
			out[i] *= taper[i-fade]
		}
	}
	return finish(out, 0, hz, db, rateHz), nil
}

func checkCurve(hz, db []float64, rateHz float64, taps int) error {
	if len(hz) == 0 || len(hz) != len(db) {
		return fmt.Errorf("filter: %d frequencies and %d levels: need the same number, at least one", len(hz), len(db))
	}
	if !(rateHz > 0) || math.IsInf(rateHz, 0) || taps < 16 {
		return fmt.Errorf("filter: rate %g Hz and %d taps: need a rate above 0 and at least 16 taps", rateHz, taps)
	}
	for i := range hz {
		if !(hz[i] > 0) || math.IsInf(hz[i], 0) || (i > 0 && hz[i] <= hz[i-1]) {
			return fmt.Errorf("filter: frequency %d (%g Hz): frequencies must be above 0 and rise", i+1, hz[i])
		}
		if math.IsNaN(db[i]) || math.IsInf(db[i], 0) {
			return fmt.Errorf("filter: the level at %g Hz is %v", hz[i], db[i])
		}
	}
	return nil
}

// gridLevels interpolates the curve on the bins of a transform of n.
func gridLevels(hz, db []float64, rateHz float64, n int) []float64 {
	out := make([]float64, n/2+1)
	i := 0
	for k := range out {
		f := float64(k) * rateHz / float64(n)
		for i < len(hz) && hz[i] < f {
			i++
		}
		switch {
		case i == 0:
			out[k] = db[0]
		case i == len(hz):
			out[k] = db[len(db)-1]
		default:
			t := math.Log(f/hz[i-1]) / math.Log(hz[i]/hz[i-1])
			out[k] = db[i-1] + t*(db[i]-db[i-1])
		}
	}
	return out
}

// finish measures what the taps do.
func finish(taps []float64, delay float64, hz, db []float64, rateHz float64) Filter {
	f := Filter{Taps: taps, RateHz: rateHz, Delay: delay}
	n := 8 * ceilPow2(len(taps))
	padded := make([]float64, n)
	copy(padded, taps)
	spec := fourier.NewFFT(n).Coefficients(nil, padded)
	peak := 0.0
	for _, c := range spec {
		peak = max(peak, real(c)*real(c)+imag(c)*imag(c))
	}
	f.PeakDB = 10 * math.Log10(peak)
	top := sort.SearchFloat64s(hz, 0.45*rateHz)
	for i := range top {
		f.MaxErrorDB = max(f.MaxErrorDB, math.Abs(f.LevelDB(hz[i])-db[i]))
	}
	return f
}

// LevelDB returns the filter's own gain at a frequency, from its taps.
func (f Filter) LevelDB(hz float64) float64 {
	re, im := 0.0, 0.0
	w := 2 * math.Pi * hz / f.RateHz
	for i, t := range f.Taps {
		sin, cos := math.Sincos(w * float64(i))
		re += t * cos
		im -= t * sin
	}
	return 20 * math.Log10(math.Hypot(re, im))
}

// ceilPow2 is the smallest power of two not below n.
func ceilPow2(n int) int { return 1 << bits.Len(uint(max(n, 1)-1)) }
