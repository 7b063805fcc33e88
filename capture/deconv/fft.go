// Package deconv holds the signal arithmetic behind a response: real Fourier
// transforms of well-chosen sizes, windows, and band powers of an impulse
// response. It knows nothing of files, channels or calibration.
package deconv

import "gonum.org/v1/gonum/dsp/fourier"

// FFT is a plan for real transforms of one length. It keeps work space and is
// not safe for use by several goroutines.
type FFT struct {
	n    int
	plan *fourier.FFT
}

// NewFFT returns a plan for length n; FastLen gives lengths that are quick.
func NewFFT(n int) *FFT { return &FFT{n: n, plan: fourier.NewFFT(n)} }

// Len returns the length of the real sequence.
func (f *FFT) Len() int { return f.n }

// Bins returns the number of complex bins, Len/2+1.
func (f *FFT) Bins() int { return f.n/2 + 1 }

// Forward writes the spectrum of x, X[k] = Σ x[i]·exp(−2πjki/n), to dst.
// x has length Len, dst length Bins.
func (f *FFT) Forward(dst []complex128, x []float64) { f.plan.Coefficients(dst, x) }

// Inverse writes the sequence whose spectrum is c to dst: Inverse undoes
// Forward, the factor 1/n included. c keeps its values.
func (f *FFT) Inverse(dst []float64, c []complex128) {
	f.plan.Sequence(dst, c)
	scale := 1 / float64(f.n)
	for i := range dst {
		dst[i] *= scale
	}
}

// FastLen returns the smallest length of at least n that is even and has no
// prime factor above 5.
func FastLen(n int) int { return FastMultiple(n, 2) }

// FastMultiple returns the smallest multiple of m of at least n whose quotient
// by m has no prime factor above 5.
func FastMultiple(n, m int) int {
	for q := max(1, (n+m-1)/m); ; q++ {
		r := q
		for _, p := range [...]int{2, 3, 5} {
			for r%p == 0 {
				r /= p
			}
		}
		if r == 1 {
			return q * m
		}
	}
}
