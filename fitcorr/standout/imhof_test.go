package standout

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestTailIsF: with equal variances the tail is that of F(p, p(n−2)).
func TestTailIsF(t *testing.T) {
	for _, p := range []int{1, 2, 5, 20} {
		spectrum := make([]float64, p)
		for k := range spectrum {
			spectrum[k] = 1
		}
		for _, n := range []int{5, 10, 20} {
			f := distuv.F{D1: float64(p), D2: float64(p * (n - 2))}
			for _, q := range []float64{0.5, 1, 3, 10, 40} {
				got, want := tail(q, n, spectrum), f.Survival(q)
				if math.Abs(got-want) > 2e-6 {
					t.Errorf("p %d n %d F %g: %.8f, want %.8f", p, n, q, got, want)
				}
			}
		}
	}
}
