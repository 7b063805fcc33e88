package whiten_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/internal/whiten"
	"asworn/fitcorr/stats"
)

// TestRows holds whitened rows and the determinant against gonum's Cholesky factor, of a covariance
// whose determinant no number holds.
func TestRows(t *testing.T) {
	const n = 60
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c.SetSym(i, j, 1e-9*math.Exp(-float64(j-i)/5))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		t.Fatal("singular")
	}
	x := mat.NewDense(2, n, nil)
	x.Apply(func(i, j int, _ float64) float64 { return math.Sin(float64(1 + j + 7*i)) }, x)
	var solved mat.Dense
	if err := chol.SolveTo(&solved, x.T()); err != nil {
		t.Fatal(err)
	}
	var want, got mat.Dense
	want.Mul(x, &solved)
	u, _ := stats.Factorize(c)
	logDet := whiten.Rows(blas64.Triangular(u), x)
	got.Mul(x, x.T())
	for i := range 2 {
		for j := range 2 {
			if v, w := got.At(i, j), want.At(i, j); math.Abs(v-w) > 1e-9*math.Abs(want.At(i, i)) {
				t.Errorf("product %d %d: %g, want %g", i, j, v, w)
			}
		}
	}
	if w := chol.LogDet(); math.Abs(logDet-w) > 1e-9*math.Abs(w) {
		t.Errorf("log determinant %g, want %g", logDet, w)
	}
}
