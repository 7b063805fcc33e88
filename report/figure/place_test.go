package figure

import (
	"math"
	"testing"
)

// TestApart: no two marks cover each other, and one with room stays where it is.
func TestApart(t *testing.T) {
	var at []Point
	for i := range 12 { // a crowd at the origin of the map
		at = append(at, Point{0.5 + 0.004*float64(i%5), 0.5 + 0.003*float64(i%7)})
	}
	at = append(at, Point{0.9, 0.1})
	got := apart(at)
	for i, p := range got {
		for _, q := range got[:i] {
			if math.Abs(p.Y-q.Y) < 2*markHalf && math.Abs(p.X-q.X) < markLeft+markRight {
				t.Errorf("%v and %v cover each other", p, q)
			}
		}
	}
	if got[0] != at[0] || got[12] != at[12] {
		t.Errorf("marks with room were moved: %v, %v", got[0], got[12])
	}
}

// TestStyleFor: the first lines differ in their dashes alone, and many more in
// colour and dashes together.
func TestStyleFor(t *testing.T) {
	dash, style := map[int]bool{}, map[Style]bool{}
	for i := range Tints * Dashes {
		s := StyleFor(i)
		if i < Dashes && dash[s.Dash] || style[s] || s.Tint < 1 || s.Tint > Tints {
			t.Errorf("%d: %+v again", i, s)
		}
		dash[s.Dash], style[s] = true, true
	}
}
