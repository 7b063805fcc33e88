package stats

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestMultiply compares with gonum's product, bit for bit, on views within larger matrices.
func TestMultiply(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func(rows, cols int) *mat.Dense {
		m := mat.NewDense(rows+2, cols+3, nil)
		m.Apply(func(_, _ int, _ float64) float64 { return rng.NormFloat64() }, m)
		return m.Slice(1, 1+rows, 2, 2+cols).(*mat.Dense)
	}
	for _, size := range [][3]int{{4, 1, 8}, {5, 7, 9}, {34, 34, 34}, {3, 5, 8}, {4, 5, 7}, {82, 314, 313}, {130, 65, 17}} {
		a, b := random(size[0], size[1]), random(size[1], size[2])
		got, around := random(size[0], size[2]), mat.NewDense(size[0], size[2], nil)
		Multiply(got, a, b)
		around.Mul(a, b)
		if !mat.Equal(got, around) {
			t.Errorf("%v: differs", size)
		}
	}
}

func BenchmarkMultiply(b *testing.B) {
	const n = 300
	x, y, z := mat.NewDense(n, n, nil), mat.NewDense(n, n, nil), mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			x.Set(i, j, float64(i+1)/float64(j+1))
			y.Set(i, j, float64(i-j))
		}
	}
	b.Run("tiles", func(b *testing.B) {
		for b.Loop() {
			Multiply(z, x, y)
		}
	})
	b.Run("gonum", func(b *testing.B) {
		for b.Loop() {
			z.Mul(x, y)
		}
	})
}
