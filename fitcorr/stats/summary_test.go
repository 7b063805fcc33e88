package stats

import (
	"math"
	"testing"
)

// The figures are NumPy's (numpy.quantile, its default).
func TestQuantile(t *testing.T) {
	for _, c := range []struct {
		p    float64
		x    []float64
		want float64
	}{
		{0.5, []float64{-1, 0, 1}, 0},
		{0.5, []float64{1, 2, 4, 8}, 3},
		{0.1, []float64{1, 2, 4, 8}, 1.3},
		{0.9, []float64{1, 2, 4, 8}, 6.8},
		{0, []float64{1, 2}, 1},
		{1, []float64{1, 2}, 2},
		{0.3, []float64{7}, 7},
	} {
		if got := Quantile(c.p, c.x); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%g of %v: %g, want %g", c.p, c.x, got, c.want)
		}
	}
}
