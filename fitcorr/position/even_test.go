package position

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/stats"
)

// A survey that answers nearly alike to a displacement and its mirror image: the
// stated intervals hold, and several places are said to explain a seating.
func TestNearEvenCups(t *testing.T) {
	if testing.Short() {
		t.Skip("surveys of six fixtures")
	}
	var covered, n, several, sq float64
	for seed := range uint64(6) {
		bench := toy.NearEven(300+seed, 0.1)
		m, err := newModel("Model E", capture.Blocked, bench.Seatings)
		if err != nil {
			t.Fatal(err)
		}
		if h, a := m.Temper.Headset, m.Temper.Apart; h < 1 || h > temperMost || a < apartLeast || a > temperMost {
			t.Errorf("seed %d: tempers %g and %g", seed, h, a)
		}
		for i, s := range bench.Seatings {
			if s.Displaced() {
				continue
			}
			o := m.Placed[i].Offset
			if len(o.Places) > 0 {
				several++
			}
			for a := range 2 {
				d := o.Headset.Value[a] - (bench.Pos[s.ID][0][a]+bench.Pos[s.ID][1][a])/2
				if math.Abs(d) < stats.Coverage(0.95, o.Headset.DF)*math.Sqrt(o.Headset.Cov[a][a]) {
					covered++
				}
				sq += d * d
				n++
			}
		}
	}
	t.Logf("RMS %.1f mm, %.1f %% covered, several places in %.0f of %.0f seatings", math.Sqrt(sq/n), 100*covered/n, several, n/2)
	if covered < 0.92*n {
		t.Errorf("intervals of 95 %% cover %.1f %%", 100*covered/n)
	}
	if several < 0.1*n/2 {
		t.Errorf("several places in %.0f of %.0f seatings only", several, n/2)
	}
}
