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
