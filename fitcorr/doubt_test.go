package fitcorr

import (
	"math"
	"slices"
	"strings"
	"testing"

	"asworn/capture/band"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
)

// A worn seating whose level no position explains is named and hardly counts:
// the worn mean comes out as if it were not there.
func TestDoubtfulSeating(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	plan := toy.Small(9)
	plan.Models, plan.Seatings = 1, 4
	ss, truth := plan.Study()
	ss = toy.Read(ss, truth, 9, 1, 0.5)
	clean, _ := analyse(t, ss)
	i := slices.IndexFunc(ss, func(s seat.Seating) bool { return s.Model == "Model A" && s.Subject == "L03" })
	without, _ := analyse(t, slices.Delete(slices.Clone(ss), i, i+1))
	bent := ss[i].Ears[0]
	bent.LevelDB = slices.Clone(bent.LevelDB)
	for b, f := range band.All() {
		bent.LevelDB[b] += 6 * math.Sin(5*math.Log2(f.Mid/500)) * min(1, f.Mid/2000)
	}
	ss[i].Ears[0] = bent
	spoilt, _ := analyse(t, ss)
	named := func(a Analysis) bool {
		return slices.ContainsFunc(a.Models[0].Cannot, func(s string) bool {
			return strings.Contains(s, ss[i].ID+":") && strings.Contains(s, "left ear")
		})
	}
	if !named(spoilt) || named(clean) {
		t.Errorf("named: spoilt %v, clean %v", named(spoilt), named(clean))
	}
	for axis := range 2 {
		got, want := spoilt.Models[0].Worn.Mean, without.Models[0].Worn.Mean
		if d := math.Abs(got.Value[axis] - want.Value[axis]); d > 0.5*math.Sqrt(want.Cov[axis][axis]) {
			t.Errorf("axis %d: worn mean %.2f, without that seating %.2f ± %.2f", axis, got.Value[axis], want.Value[axis], math.Sqrt(want.Cov[axis][axis]))
		}
	}
}
