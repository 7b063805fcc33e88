package exposure

import (
	"fmt"
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Meter measures equivalent continuous levels. It keeps its transform plan
// and buffers and is not safe for use by several goroutines.
type Meter struct {
	rate    float64
	fft     *fourier.FFT
	padded  []float64
	spec    []complex128
	aWeight []float64 // of the power, per bin
}

// NewMeter returns a meter for signals of up to samples samples at rateHz. rateHz is in
// Hz. It fails where either is not above 0.
func NewMeter(samples int, rateHz float64) (*Meter, error) {
	if samples < 1 || !(rateHz > 0) {
		return nil, fmt.Errorf("exposure: %d samples at %g Hz: both must be above 0", samples, rateHz)
	}
	n := 1 << bits.Len(uint(samples-1)) // zeros at the end add no energy
	n = max(n, 2)
	m := &Meter{rate: rateHz, fft: fourier.NewFFT(n), padded: make([]float64, n),
		spec: make([]complex128, n/2+1), aWeight: make([]float64, n/2+1)}
	norm := aMagnitude(1000)
	for k := range m.aWeight {
		a := aMagnitude(float64(k)*rateHz/float64(n)) / norm
		m.aWeight[k] = a * a
	}
	return m, nil
}

// Levels returns the equivalent continuous sound pressure levels of pa
// (pascals) over its own length, unweighted and A-weighted, in dB re 20 µPa.
// Silence is −Inf. It panics when pa is longer than the meter was made for.
func (m *Meter) Levels(pa []float64) (z, a float64) {
	if len(pa) > len(m.padded) {
		panic(fmt.Sprintf("exposure: %d samples on a meter for %d", len(pa), len(m.padded)))
	}
	copy(m.padded, pa)
	clear(m.padded[len(pa):])
	m.fft.Coefficients(m.spec, m.padded)
	n := len(m.padded)
	var sumZ, sumA float64
	for k, c := range m.spec {
		p := real(c)*real(c) + imag(c)*imag(c)
		if k > 0 && k < n/2 {
			p *= 2 // the bins above half the rate
		}
		sumZ += p
		sumA += p * m.aWeight[k]
	}
	scale := 1 / (float64(n) * float64(len(pa)) * ReferencePa * ReferencePa)
	return 10 * math.Log10(sumZ*scale), 10 * math.Log10(sumA*scale)
}
