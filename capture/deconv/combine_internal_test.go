package deconv

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestRows compares the layouts that go several values at a time with those in Go, bit for
// bit.
func TestRows(t *testing.T) {
	if !pairs {
		t.Skip("the processor cannot")
	}
	defer func() { pairs = true }()
	rng := rand.New(rand.NewPCG(5, 6))
	for _, n := range []int{2, 4, 16, 100, 1024, 1536, 9600, 73728} {
		f, x := NewFFT(n), make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		var spectra [2][]complex128
		var back [2][]float64
		for i := range spectra {
			pairs = i == 1
			spectra[i], back[i] = make([]complex128, f.Bins()), make([]float64, n)
			f.ForwardLess(spectra[i], x[:n-n/7], 0.1)
			f.Inverse(back[i], spectra[i])
		}
		if !slices.Equal(spectra[0], spectra[1]) || !slices.Equal(back[0], back[1]) {
			t.Errorf("length %d: differs", n)
		}
	}
}

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
			x, turns := random(c.radix*m+1), random((c.radix-1)*m + 1)[:(c.radix-1)*m]
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
	for _, c := range [][2]int{{1, 1}, {3, 1}, {16, 1}, {4, 4}, {16, 4}} {
		stride, count := c[0], c[1]
		src, x, y := random(15*stride+1+(count-1)*(stride/4)), random(16*count+1), random(16*count+1)
		x[16*count] = y[16*count]
		fans(x[:16*count], src, stride, count)
		sixteens(y[:16*count], src, stride, count)
		if !slices.Equal(x, y) {
			t.Errorf("%d times sixteen of stride %d: differs", count, stride)
		}
	}
}
