package deconv

import (
	"math"
	"math/cmplx"
)

// Energy returns Σ|s|². It adds up in two parts, which do not wait for each other.
func Energy(s []complex128) float64 {
	var re, im float64
	for _, v := range s {
		re += real(v) * real(v)
		im += imag(v) * imag(v)
	}
	return re + im
}

// Advance moves a signal of n samples earlier by shift samples.
func Advance(s []complex128, shift float64, n int) {
	// The rotation is advanced by multiplication and set anew every 256 bins,
	// which keeps its error below 1e-13.
	phase := 2 * math.Pi * shift / float64(n)
	step := cmplx.Rect(1, phase)
	var r complex128
	for k := range s {
		if k%256 == 0 {
			r = cmplx.Rect(1, phase*float64(k))
		}
		s[k] *= r
		r *= step
	}
}

// EveryFourth writes to dst the spectrum of every fourth sample, from the first on, of the
// signal with the spectrum s: four times as many samples as bins of s less one, doubled,
// which must be a multiple of 8. dst has (len(s)-1)/4+1 bins. What lies above an eighth of
// the rate is folded down, so that the samples are those of the signal itself.
func EveryFourth(dst, s []complex128) {
	m := (len(s) - 1) / 2 // samples of dst
	for k := range dst[:m/2+1] {
		a, b, c, d := s[k], s[m+k], s[2*m-k], s[m-k] // of the latter two the conjugates
		dst[k] = complex((real(a)+real(b)+real(c)+real(d))/4, (imag(a)+imag(b)-imag(c)-imag(d))/4)
	}
}
