package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestStudentQuantileOfManyDegrees: however many degrees of freedom, a quantile is
// a number and goes over into the normal one, to the accuracy of gonum.
func TestStudentQuantileOfManyDegrees(t *testing.T) {
	normal := StudentQuantile(0.975, 0)
	for df := 1e6; df < 1e300; df *= 3 {
		if q := StudentQuantile(0.975, df); !(math.Abs(q-normal) <= 3/df+1e-6) {
			t.Fatalf("%g degrees of freedom: %v, normal %v", df, q, normal)
		}
	}
	if q := StudentQuantile(0.975, math.Inf(1)); q != normal {
		t.Errorf("no limit: %v", q)
	}
}

// The series for many degrees of freedom gives the library's quantiles, and goes over into
// them where it begins.
func TestNearlyNormal(t *testing.T) {
	for df := float64(many); df < 1e6; df *= 1.7 {
		for _, p := range []float64{0.01, 0.6, 0.9, 0.975, 0.999, 0.99995} {
			want := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
			if got := nearlyNormal(distuv.UnitNormal.Quantile(p), df); math.Abs(got-want) > 1e-8*math.Abs(want) {
				t.Errorf("p = %g, %g degrees of freedom: %.12f, library %.12f", p, df, got, want)
			}
		}
	}
}

// Between few and many degrees of freedom the quantile is that of which the distribution has the
// probability.
func TestStudentQuantile(t *testing.T) {
	for df := float64(few); df < many; df *= 1.03 {
		for _, p := range []float64{0.0002, 0.01, 0.2, 0.5, 0.6, 0.9, 0.975, 0.995, 0.9998} {
			got := StudentQuantile(p, df)
			if back := (distuv.StudentsT{Sigma: 1, Nu: df}).CDF(got); math.Abs(back-p) > 1e-11*math.Min(p, 1-p) {
				t.Errorf("%g degrees of freedom: %g of the distribution lies below %.12f, want %g", df, back, got, p)
			}
		}
	}
}
