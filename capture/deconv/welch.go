package deconv

import "math"

// Welch estimates power spectral densities by averaging the periodograms of
// Hann-windowed segments that overlap by half (P. Welch, IEEE Trans. Audio
// Electroacoust. 15(2), 1967). It keeps its plan and buffers and is not safe
// for use by several goroutines.
type Welch struct {
	fft    *FFT
	window []float64
	scale  float64
	seq    []float64
	spec   []complex128
}

// NewWelch returns an estimator with segments of the given even size. The size is in
// samples, the rate in Hz; a longer segment resolves rateHz/size Hz. It panics as NewFFT
// does.
func NewWelch(size int, rateHz float64) *Welch {
	w := &Welch{fft: NewFFT(size), window: make([]float64, size), seq: make([]float64, size)}
	w.spec = make([]complex128, w.fft.Bins())
	sum := 0.0
	for i := range w.window {
		s := math.Sin(math.Pi * float64(i) / float64(size)) // periodic Hann
		w.window[i] = s * s
		sum += s * s * s * s
	}
	w.scale = 1 / (rateHz * sum)
	return w
}

// Size returns the segment's length. It is in samples.
func (w *Welch) Size() int { return w.fft.Len() }

// Density writes the one-sided power spectral density of x, in units²/Hz, to
// dst of length Size/2+1. Each segment's mean is taken off. The last samples
// that fill no segment count for nothing; x must hold one segment at least.
func (w *Welch) Density(dst, x []float64) {
	clear(dst)
	n := w.fft.Len()
	count := 0
	for at := 0; at+n <= len(x); at += n / 2 {
		mean := 0.0
		for _, v := range x[at : at+n] {
			mean += v
		}
		mean /= float64(n)
		for i, v := range x[at : at+n] {
			w.seq[i] = w.window[i] * (v - mean)
		}
		w.fft.Forward(w.spec, w.seq)
		for k, c := range w.spec {
			dst[k] += real(c)*real(c) + imag(c)*imag(c)
		}
		count++
	}
	for k := range dst {
		dst[k] *= 2 * w.scale / float64(count)
	}
	dst[0] /= 2
	dst[n/2] /= 2
}
