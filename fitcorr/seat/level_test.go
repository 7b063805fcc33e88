package seat

import (
	"math"
	"testing"
)

// curveOf makes a curve of levels; NaN does not count.
func curveOf(db ...float64) Curve {
	c := Curve{LevelDB: db, StdErrDB: make([]float64, len(db)), Valid: make([]bool, len(db))}
	for b, v := range db {
		c.StdErrDB[b], c.Valid[b] = 0.1, !math.IsNaN(v)
	}
	return c
}

func TestMeanLevel(t *testing.T) {
	no := math.NaN()
	for _, c := range []struct {
		name     string
		of       []Curve
		db, half []float64 // NaN: does not count
	}{
		{"none", nil, nil, nil},
		{"one: its noise", []Curve{curveOf(3, no)}, []float64{3, no}, []float64{0.196, no}},
		{"Student's t of one degree of freedom", []Curve{curveOf(1, 1), curveOf(3, no)}, []float64{2, no}, []float64{12.706, no}},
		{"half count", []Curve{curveOf(1, 1), curveOf(3, 3), curveOf(2, no), curveOf(2, no)}, []float64{2, 2}, []float64{3.182 * 0.8165 / 2, 12.706}},
		{"less than half", []Curve{curveOf(1), curveOf(3), curveOf(no), curveOf(no), curveOf(no)}, []float64{no}, []float64{no}},
		{"the first has no bands", []Curve{{}, curveOf(1), curveOf(3)}, []float64{2}, []float64{12.706}},
	} {
		got := MeanLevel(c.of, 0.95)
		if len(got.DB) != len(c.db) {
			t.Fatalf("%s: %d bands, want %d", c.name, len(got.DB), len(c.db))
		}
		for b, want := range c.db {
			if counts := !math.IsNaN(want); got.Valid[b] != counts || counts && (math.Abs(got.DB[b]-want) > 1e-9 || math.Abs(got.Half[b]-c.half[b]) > 2e-3) {
				t.Errorf("%s, band %d: %g ± %g (%v), want %g ± %g", c.name, b, got.DB[b], got.Half[b], got.Valid[b], want, c.half[b])
			}
		}
	}
}

// The ears' own levels do not widen what their curves differ by.
func TestSpreadAbout(t *testing.T) {
	left := []Curve{curveOf(-1), curveOf(0), curveOf(1)}
	right := []Curve{curveOf(49), curveOf(50), curveOf(51)}
	median, lower, upper := SpreadAbout([2][]Curve{left, right}, 1)
	if median[0][0] != 0 || median[1][0] != 50 || lower[0] < -1 || upper[0] > 1 || upper[0] < 0.5 {
		t.Errorf("median %v, %v to %v", median, lower, upper)
	}
	if median, lower, _ := SpreadAbout([2][]Curve{left[:2], nil}, 1); median[0] != nil || median[1] != nil || lower != nil {
		t.Errorf("a spread of two: %v, %v", median, lower)
	}
}
