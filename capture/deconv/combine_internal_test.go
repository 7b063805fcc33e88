package deconv

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestCombine compares the steps that go two at a time with those in Go, bit
// for bit.
func TestCombine(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func(n int) []complex128 {
		out := make([]complex128, n)
		for i := range out {
			out[i] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
		return out
	}
	for _, m := range []int{1, 2, 3, 4, 6, 64, 250, 1024} {
		for _, c := range []struct {
			radix    int
			one, two func(x, t []complex128)
		}{{2, butterflies2, combine2}, {3, butterflies3, combine3}, {4, butterflies4, combine4}} {
			x, turns := random(c.radix*m+1), random((c.radix-1)*m)
			y := slices.Clone(x)
			c.one(x[:c.radix*m], turns)
			c.two(y[:c.radix*m], turns)
			if !slices.Equal(x, y) {
				t.Errorf("radix %d, %d values each: differs", c.radix, m)
			}
		}
	}
	for _, m := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 64, 99} {
		x, turns := random(m), random(m/2+1)
		y := slices.Clone(x)
		untangleFrom(x, turns, 1)
		untangle(y, turns)
		if !slices.Equal(x, y) {
			t.Errorf("untangling %d values: differs", m)
		}
	}
	for _, stride := range []int{1, 3, 16} {
		src, x, y := random(15*stride+1), random(17), random(17)
		x[16] = y[16]
		fan(x[:16], src, stride)
		sixteen(y[:16], src, stride)
		if !slices.Equal(x, y) {
			t.Errorf("sixteen of stride %d: differs", stride)
		}
	}
}
