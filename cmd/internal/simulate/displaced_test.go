package simulate

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
)

// Displaced listeners add rows and change nothing else.
func TestDisplacedListeners(t *testing.T) {
	d := BarDesign()
	plain := Draw(7, d, silent)
	d.DisplacedListeners = 2
	s := Draw(7, d, silent)
	n := len(plain.Rows)
	if diff := cmp.Diff(plain.Rows, s.Rows[:n]); diff != "" {
		t.Error("ordinary rows differ:", diff)
	}
	if diff := cmp.Diff(plain.Worn, s.Worn); diff != "" {
		t.Error("worn truth differs:", diff)
	}
	if got, want := len(s.Rows)-n, 3*2*4; got != want {
		t.Fatalf("%d rows more, want %d", got, want)
	}
	files := map[string]bool{}
	for i, r := range s.Rows {
		if files[r.File] {
			t.Errorf("row %d: file %s is there twice", r.Row, r.File)
		}
		files[r.File] = true
		if i < n {
			continue
		}
		if r.OnFixture() || r.Survey == nil || r.Point != capture.Blocked || r.Seal != "" || r.Number <= d.Seatings || r.SubjectIndex >= 2 {
			t.Errorf("row %d: %+v", r.Row, r.Seating)
		}
	}
}

// A displaced seating lies the stated way from the listener's own place, with
// the ruler's error and 0.4 of the usual scatter.
func TestDisplacedPlace(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.DisplacedListeners, d.Seatings, d.Closed, d.Open, d.SurveySize, d.BareEar = 2000, 2000, 20, 1, 0, 0, false
	s := Draw(1, d, func(uint64, Design, []bool) Acoustics { return nil })
	usual := make([][3]float64, d.Listeners)
	var sum, square [3]float64
	n := 0.0
	for _, r := range s.Rows {
		if r.OnFixture() {
			continue
		}
		h := r.Headset()
		for a := range 3 {
			if r.Survey == nil {
				usual[r.SubjectIndex][a] += h[a] / float64(d.Seatings)
				continue
			}
			e := h[a] - usual[r.SubjectIndex][a] - r.Survey.Vector()[a]
			sum[a] += e
			square[a] += e * e
		}
		if r.Survey != nil {
			n++
		}
	}
	for a, ruler := range []float64{0.3, 0.3, 0.45} {
		within := s.Worn[0].WithinSD[a]
		want := math.Sqrt(ruler*ruler + within*within*(0.16+1/float64(d.Seatings)))
		mean, sd := sum[a]/n, math.Sqrt(square[a]/n)
		if math.Abs(sd/want-1) > 0.05 || math.Abs(mean) > 0.04 {
			t.Errorf("axis %d: mean %.3f, SD %.3f, want 0 and %.3f", a, mean, sd, want)
		}
	}
}
