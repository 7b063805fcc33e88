package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Inverse3 is the inverse, and its determinant that of the matrix.
func TestInverse3(t *testing.T) {
	c := [3][3]float64{{4, 1, -0.5}, {1, 3, 0.25}, {-0.5, 0.25, 2}}
	inv, det := Inverse3(c)
	for a := range 3 {
		for b := range 3 {
			var unit, want float64
			for k := range 3 {
				unit += inv[a][k] * c[k][b]
			}
			if a == b {
				want = 1
			}
			if math.Abs(unit-want) > 1e-14 {
				t.Errorf("element (%d, %d) of the product is %g", a, b, unit)
			}
		}
	}
	if want := mat.Det(Symmetric3(c)); math.Abs(det-want) > 1e-12 {
		t.Errorf("determinant %g, want %g", det, want)
	}
}
