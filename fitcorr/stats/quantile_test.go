package stats

import (
	"math"
	"testing"
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
