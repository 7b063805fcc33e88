package blas

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/gonum"
)

// TestDgemm: the bits are those of gonum, for every size about those of a tile, for
// views of larger matrices, with zeros, and for those that are shared out.
func TestDgemm(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	fill := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			if r.IntN(5) > 0 {
				x[i] = r.NormFloat64() * math.Exp(4*r.NormFloat64())
			}
		}
		return x
	}
	check := func(m, n, k int) {
		t.Helper()
		for _, tA := range []blas.Transpose{blas.NoTrans, blas.Trans} {
			for _, tB := range []blas.Transpose{blas.NoTrans, blas.Trans} {
				for _, alpha := range []float64{1, -0.3} {
					for _, beta := range []float64{0, 1, 0.7} {
						over := r.IntN(5)
						ra, ca, rb, cb := m, k, k, n
						if tA == blas.Trans {
							ra, ca = k, m
						}
						if tB == blas.Trans {
							rb, cb = n, k
						}
						a, b, c := fill(ra*(ca+over)), fill(rb*(cb+over)), fill(m*(n+over))
						want := append([]float64(nil), c...)
						gonum.Implementation{}.Dgemm(tA, tB, m, n, k, alpha, a, ca+over, b, cb+over, beta, want, n+over)
						Implementation{}.Dgemm(tA, tB, m, n, k, alpha, a, ca+over, b, cb+over, beta, c, n+over)
						for i := range c {
							if c[i] != want[i] {
								t.Fatalf("%d × %d × %d, %c%c, alpha %g, beta %g: element %d is %v, gonum's %v", m, k, n, tA, tB, alpha, beta, i, c[i], want[i])
							}
						}
					}
				}
			}
		}
	}
	for m := 17; m <= 25; m++ {
		for n := 17; n <= 34; n++ {
			check(m, n, 1+r.IntN(70))
		}
	}
	check(300, 130, 530)
	check(5, 200, 9)
	check(200, 9, 700)
}

func BenchmarkDgemm(b *testing.B) {
	for _, n := range []int{30, 100, 300, 700} {
		x, y, z := make([]float64, n*n), make([]float64, n*n), make([]float64, n*n)
		for i := range x {
			x[i], y[i] = float64(i%7)+0.5, float64(i%11)-0.5
		}
		for name, impl := range map[string]interface {
			Dgemm(tA, tB blas.Transpose, m, n, k int, alpha float64, a []float64, lda int, b []float64, ldb int, beta float64, c []float64, ldc int)
		}{"gonum": gonum.Implementation{}, "own": Implementation{}} {
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				for b.Loop() {
					impl.Dgemm(blas.NoTrans, blas.NoTrans, n, n, n, 1, x, n, y, n, 0, z, n)
				}
				b.ReportMetric(2*float64(n*n*n)*float64(b.N)/float64(b.Elapsed().Nanoseconds()), "Gflop/s")
			})
		}
	}
}
