package deconv

import "math"

// Tukey returns a window of n samples that rises over the first in samples and
// falls over the last out samples as half a Hann window and is 1 between (the
// tapered cosine window, Harris, Proc. IEEE 66(1), 1978, with two tapers of
// their own lengths). in+out must not exceed n.
func Tukey(n, in, out int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	for i := range in {
		s := math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(in))
		w[i] = s * s
	}
	for i := range out {
		s := math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(out))
		w[n-1-i] *= s * s
	}
	return w
}

// Smoothstep rises from 0 at x ≤ 0 to 1 at x ≥ 1 as half a Hann window.
func Smoothstep(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	s := math.Sin(math.Pi / 2 * x)
	return s * s
}
