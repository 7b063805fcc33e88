package simulate

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
)

func TestSameSeedSameStudy(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Seatings, d.SurveySize = 2, 2, 3
	a, b := Draw(7, d, Piston), Draw(7, d, Piston)
	if diff := cmp.Diff(a.Rows, b.Rows); diff != "" {
		t.Error(diff)
	}
	x, err := a.Seatings(t.Context(), 7, 1)
	if err != nil {
		t.Fatal(err)
	}
	y, err := b.Seatings(t.Context(), 7, 2)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(x, y); diff != "" {
		t.Error(diff)
	}
	if cmp.Equal(a.Rows[0].True, Draw(8, d, Piston).Rows[0].True) {
		t.Error("another seed gives the same study")
	}
}

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
	s := Draw(2, d, Piston)
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

// The stated standard error of a level is the spread of its noise.
func TestNoiseIsAsStated(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Seatings, d.Closed, d.Open, d.SurveySize, d.BareEar, d.NoiseDB = 1, 1, 1, 0, 0, false, 20
	s := Draw(1, d, Piston)
	s.Rows = s.Rows[:1]
	const n = 400
	sum, sum2 := make([]float64, 248), make([]float64, 248)
	var se []float64
	for seed := range uint64(n) {
		x, err := s.Seatings(t.Context(), seed, 1)
		if err != nil {
			t.Fatal(err)
		}
		for b, l := range x[0].Ears[0].LevelDB {
			sum[b] += l / n
			sum2[b] += l * l / n
		}
		se = x[0].Ears[0].StdErrDB
	}
	for b := range sum {
		got := math.Sqrt(sum2[b] - sum[b]*sum[b])
		if r := got / se[b]; r < 0.65 || r > 1.5 { // the last draw's se is itself 10 % uncertain
			t.Errorf("band %d: spread %.4f dB, stated %.4f", b, got, se[b])
		}
	}
}
