package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// some is a covariance, n × n, of n draws and a little more.
func some(n int) *mat.SymDense {
	rng := rand.New(rand.NewPCG(uint64(n), 1))
	x := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			x.Set(i, j, rng.NormFloat64())
		}
	}
	c := mat.NewSymDense(n, nil)
	c.SymOuterK(1, x)
	for i := range n {
		AddSym(c, i, i, 0.1*float64(n))
	}
	return c
}

// By halves the inverse and the determinant are those of a factor, whatever the number of
// rows is divisible by, and what is no covariance is told.
func TestInvert(t *testing.T) {
	for _, n := range []int{1, 5, whole, whole + 1, 3*whole - 1, 314} {
		c := some(n)
		got := mat.DenseCopyOf(c)
		logDet, ok := Invert(got)
		factor, _ := Factorize(c)
		if want := factor.LogDet(); !ok || math.Abs(logDet-want) > 1e-10*float64(n) {
			t.Errorf("%d rows: log|c| is %g, want %g", n, logDet, want)
		}
		if !mat.EqualApprox(got, factor.Inverse(), 1e-12) {
			t.Errorf("%d rows: another inverse", n)
		}
		bad := mat.DenseCopyOf(some(n))
		bad.Set(n-1, n-1, -1)
		if _, ok := Invert(bad); ok {
			t.Errorf("%d rows: a variance below 0 is taken for a covariance", n)
		}
	}
}

func BenchmarkInvert(b *testing.B) {
	for _, n := range []int{34, 70, 128, 314, 380} {
		c := some(n)
		b.Run(fmt.Sprintf("halves/%d", n), func(b *testing.B) {
			for b.Loop() {
				Invert(mat.DenseCopyOf(c))
			}
		})
		b.Run(fmt.Sprintf("factor/%d", n), func(b *testing.B) {
			for b.Loop() {
				invertWhole(mat.DenseCopyOf(c))
			}
		})
	}
}
