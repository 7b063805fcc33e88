package deconv

import (
	"math"
	"math/cmplx"
)

// Energy returns Σ|s|². It adds up in four parts, which do not wait for each other.
func Energy(s []complex128) float64 {
	var re, im, re2, im2 float64
	for ; len(s) > 1; s = s[2:] {
		a, b := s[0], s[1]
		re += real(a) * real(a)
		im += imag(a) * imag(a)
		re2 += real(b) * real(b)
		im2 += imag(b) * imag(b)
	}
	for _, v := range s {
		re += real(v) * real(v)
		im += imag(v) * imag(v)
	}
	return re + im + (re2 + im2)
}

// WeightedEnergy returns Σw|s|², in two parts likewise. The weights are as many as s.
func WeightedEnergy(s []complex128, w []float64) float64 {
	var even, odd float64
	for ; len(s) > 1 && len(w) > 1; s, w = s[2:], w[2:] {
		a, b := s[0], s[1]
		even += (real(a)*real(a) + imag(a)*imag(a)) * w[0]
		odd += (real(b)*real(b) + imag(b)*imag(b)) * w[1]
	}
	for i, v := range s {
		even += (real(v)*real(v) + imag(v)*imag(v)) * w[i]
	}
	return even + odd
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

// EveryEighth writes to dst the spectrum of every eighth sample, from the first on, of the
// signal with the spectrum s: twice as many samples as bins of s less one,
// which must be a multiple of 16. dst has (len(s)-1)/8+1 bins. What lies above a sixteenth of
// the rate is folded down, so that the samples are those of the signal itself.
func EveryEighth(dst, s []complex128) {
	m := (len(s) - 1) / 4 // samples of dst
	for k := range dst[:m/2+1] {
		var re, im float64
		for j := 0; j < len(s)-1; j += m {
			a, b := s[j+k], s[j+m-k] // of the latter the conjugate
			re += real(a) + real(b)
			im += imag(a) - imag(b)
		}
		dst[k] = complex(re/8, im/8)
	}
}
