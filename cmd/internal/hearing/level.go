// Package hearing says what the samples of a device's inputs hold: whether a sweep that was
// played has arrived at one, how loud and how late, which microphone was touched, and on
// which input each channel of a study is. It must not know devices, sessions and studies.
package hearing

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture"
	"asworn/capture/exposure"
	"asworn/capture/finding"
)

// Heard is what one sweep of a level check gave at one input.
type Heard struct {
	DB      float64 // A-weighted level over the time of the sweep: dB SPL with a calibrated microphone, else dB re full scale
	PeakDB  float64 // re full scale
	Arrived bool    // the excitation is in it
	Delay   int     // samples from the output to this input, the system's buffers included
}

// ArrivedCorrelation is the least correlation of what was recorded with what was
// played, of ±1, from which the excitation has arrived: rooms and headphones
// colour a sweep, noise does not resemble it at all. Common practice, no source.
const ArrivedCorrelation = 0.05

// Hear looks for a signal in what was recorded while it played once. seconds is
// how long it sounds; paPerUnit is 0 for a microphone without calibration.
func Hear(signal, recorded []float64, rateHz, seconds, paPerUnit float64) (Heard, error) {
	meter, err := exposure.NewMeter(len(recorded), rateHz)
	if err != nil {
		return Heard{}, err
	}
	pa, peak := make([]float64, len(recorded)), 0.0
	scale := paPerUnit
	if scale == 0 {
		scale = exposure.ReferencePa * math.Sqrt2 // a full-scale sine is 0 dB (AES17)
	}
	for i, v := range recorded {
		pa[i] = v * scale
		peak = max(peak, math.Abs(v))
	}
	_, a := meter.Levels(pa)
	out := Heard{DB: a + 10*math.Log10(float64(len(recorded))/rateHz/seconds), PeakDB: capture.NoLevelDB}
	if out.DB < capture.NoLevelDB {
		out.DB = capture.NoLevelDB
	}
	if peak > 0 {
		out.PeakDB = 20 * math.Log10(peak)
	}
	var correlation float64
	out.Delay, correlation = Correlate(signal, recorded)
	out.Arrived = correlation >= ArrivedCorrelation
	return out, nil
}

// Correlate returns the lag at which y is most like x, and the normalised
// correlation there, 0 to 1.
func Correlate(x, y []float64) (lag int, correlation float64) {
	n := 1
	for n < len(x)+len(y) {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	spectrum := func(v []float64) []complex128 {
		padded := make([]float64, n)
		copy(padded, v)
		return fft.Coefficients(nil, padded)
	}
	a, b := spectrum(x), spectrum(y)
	for i := range a {
		a[i] = cmplx.Conj(a[i]) * b[i]
	}
	r := fft.Sequence(nil, a)
	top := 0.0
	for i := range len(y) { // recording starts with playback or before: lags are not negative
		if v := math.Abs(r[i]); v > top {
			lag, top = i, v
		}
	}
	energy := math.Sqrt(dot(x, x) * dot(y, y))
	if energy == 0 {
		return 0, 0
	}
	return lag, top / float64(n) / energy
}

func dot(x, y []float64) (sum float64) {
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

// clipDB is the peak from which an input counts as at its limit.
const clipDB = -0.5

// Words puts what an input heard into a line.
func (h Heard) Words(name string, rateHz float64, known bool) string {
	unit := "dB(A) re full scale"
	if known {
		unit = "dB(A) SPL"
	}
	switch {
	case h.PeakDB <= capture.NoLevelDB:
		return name + ": silent"
	case !h.Arrived:
		return finding.Text("%s: the sweep does not arrive, %.0f %s of something else", name, h.DB, unit)
	}
	out := finding.Text("%s: %.1f %s, peak %.1f dB re full scale, %.1f ms after the output", name, h.DB, unit, h.PeakDB, 1000*float64(h.Delay)/rateHz)
	if h.PeakDB > clipDB {
		out += ", at the limit of the input: lower its gain"
	}
	return out
}
