package simulate

import (
	"math"
	"testing"

	"asworn/capture"
)

// Worn positions have the spread that the truth states, for the headset.
func TestWornSpread(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Seatings, d.Closed, d.Open, d.SurveySize, d.BareEar = 3000, 2, 1, 0, 0, false
	s := Draw(1, d, func(uint64, Design, []bool) Acoustics { return nil })
	w := s.Worn[0]
	for a := range 3 {
		var within, mean, square float64
		for i := range d.Listeners {
			x, y := s.Rows[2*i].Headset()[a], s.Rows[2*i+1].Headset()[a]
			within += (x - y) * (x - y) / 2
			mean += (x + y) / 2
			square += (x + y) * (x + y) / 4
		}
		n := float64(d.Listeners)
		within, mean = within/n, mean/n
		between := square/n - mean*mean - within/2
		if math.Abs(math.Sqrt(within)/w.WithinSD[a]-1) > 0.05 || math.Abs(math.Sqrt(between)/w.BetweenSD[a]-1) > 0.06 {
			t.Errorf("axis %d: within %.2f, between %.2f; stated %.2f, %.2f", a, math.Sqrt(within), math.Sqrt(between), w.WithinSD[a], w.BetweenSD[a])
		}
		if math.Abs(mean-w.Mean[a]) > 4*w.BetweenSD[a]/math.Sqrt(n) || math.Abs(mean-w.PanelMean[a]) > 1e-9 {
			t.Errorf("axis %d: mean %.3f, people %.3f, panel %.3f", a, mean, w.Mean[a], w.PanelMean[a])
		}
	}
}

func TestFixtureSeatings(t *testing.T) {
	d := BarDesign()
	s := Draw(2, d, silent)
	drums, surveys := 0, 0
	for i, r := range s.Rows {
		switch {
		case r.Point == capture.Drum:
			drums++
			if b := s.Rows[i-1]; b.Number != r.Number || b.Model != r.Model || b.True != r.True {
				t.Errorf("row %d: a drum row without its blocked one", i)
			}
		case r.Survey != nil:
			surveys++
			for e := range r.True {
				got, meant := r.True[e].Vector(), r.Survey.Vector()
				if math.Hypot(got[0]-meant[0], got[1]-meant[1]) > 6*d.RulerSD {
					t.Errorf("row %d: meant %v, is %v", i, meant, got)
				}
			}
		case r.OnFixture() && r.ModelIndex >= 0:
			h, mean := r.Headset(), s.Target(r.ModelIndex)
			if got := math.Hypot(h[0]-mean[0], h[1]-mean[1]); math.Abs(got-d.FixtureOffsetsMM[r.Number-1]) > 1e-9 {
				t.Errorf("row %d: %.3f mm from the panel's mean, want %g", i, got, d.FixtureOffsetsMM[r.Number-1])
			}
		}
	}
	if want := 3 * d.FixtureSeatings; drums != want {
		t.Errorf("%d drum rows, want %d", drums, want)
	}
	if want := 3*d.SurveySize + 2*d.SurveyLeaks; surveys != want {
		t.Errorf("%d survey rows, want %d", surveys, want)
	}
}
