package deconv

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture/band"
)

// TestQuadrature holds the mean over a band, of a coarse grid, against that of the fine one.
func TestQuadrature(t *testing.T) {
	const length, fine = 250, 15360
	x := make([]float64, length)
	draw := rand.New(rand.NewPCG(3, 4))
	for i := range x {
		x[i] = draw.NormFloat64()
	}
	powerOf := func(n int) []float64 {
		f := NewFFT(n)
		spec, out := make([]complex128, f.Bins()), make([]float64, f.Bins())
		f.Forward(spec, x)
		for k, c := range spec {
			out[k] = real(c)*real(c) + imag(c)*imag(c)
		}
		return out
	}
	all, want := powerOf(fine), make([]float64, 1)
	for _, q := range []int{1, 2, 5, 15} {
		few, kernel := powerOf(fine/q), kernel(q)
		for _, edges := range [][2]float64{{0, 3.7}, {2.5, 2.9}, {20.2, 33}, {1000.5, 1400}, {4000, 4001}} {
			a, b := edges[0], edges[1]
			MeanOver(want, all, 1, []band.Band{{Lower: a, Upper: b}})
			if got := newQuadrature(a, b, q, kernel).of(few); math.Abs(got/want[0]-1) > 1e-13 {
				t.Errorf("%g to %g, one of %d: off by %g", a, b, q, got/want[0]-1)
			}
		}
	}
}
