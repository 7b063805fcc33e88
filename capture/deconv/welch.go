package deconv

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Welch estimates power spectral densities by averaging the periodograms of
// Hann-windowed segments that overlap by half (P. Welch, IEEE Trans. Audio
// Electroacoust. 15(2), 1967). It keeps its plan and buffers and is not safe
// for use by several goroutines.
type Welch struct {
	segment *Periodogram
	power   []float64 // of one segment
	scale   float64
}

// NewWelch returns an estimator with segments of the given even size. The size is in
// samples, the rate in Hz; a longer segment resolves rateHz/size Hz. It panics as NewFFT
// does.
func NewWelch(size int, rateHz float64) *Welch {
	window, sum := make([]float64, size), 0.0
	for i := range window {
		s := math.Sin(math.Pi * float64(i) / float64(size)) // periodic Hann
		window[i] = s * s
		sum += s * s * s * s
	}
	return &Welch{segment: NewPeriodogram(window), power: make([]float64, size/2+1), scale: 1 / (rateHz * sum)}
}

// Size returns the segment's length. It is in samples.
func (w *Welch) Size() int { return w.segment.Size() }

// Density writes the one-sided power spectral density of x, in units²/Hz, to
// dst of length Size/2+1. Each segment's mean is taken off. The last samples
// that fill no segment count for nothing; x must hold one segment at least.
func (w *Welch) Density(dst, x []float64) {
	clear(dst)
	n := w.Size()
	count := 0
	for at := 0; at+n <= len(x); at += n / 2 {
		w.segment.Power(w.power, x[at:at+n], floats.Sum(x[at:at+n])/float64(n))
		floats.Add(dst, w.power)
		count++
	}
	for k := range dst {
		dst[k] *= 2 * w.scale / float64(count)
	}
	dst[0] /= 2
	dst[n/2] /= 2
}
