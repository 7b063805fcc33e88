package order

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestSelect holds selection and median against a sorted copy, with equal values too.
func TestSelect(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-9, 9), func(i int) float64 { return float64(i) }), 1, 300).Draw(t, "x")
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		sorted := slices.Sorted(slices.Values(x))
		if got := Select(slices.Clone(x), k); got != sorted[k] {
			t.Fatalf("value %d of %v: %v", k, x, got)
		}
		if got, want := Median(x), (sorted[(len(x)-1)/2]+sorted[len(x)/2])/2; got != want {
			t.Fatalf("median of %v: %v, not %v", x, got, want)
		}
		if slices.Sort(x); !slices.Equal(x, sorted) {
			t.Fatalf("values were lost: %v, of %v", x, sorted)
		}
	})
}

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
