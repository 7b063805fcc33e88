package main

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

// What is analysed of the same drawn study: rows of earlier models and of displaced
// listeners as the condition says, the new model's otherwise the same; only that one is judged.
func TestSurfacesTake(t *testing.T) {
	t.Parallel()
	counts := map[string]int{}
	var ss []fitcorr.Seating // the same for all conditions
	for _, c := range conditions() {
		if c.surfaces == nil {
			continue
		}
		d := c.design
		d.Listeners, d.DisplacedListeners, d.SurveySize, d.SurveyLeaks = 2, 2, 3, 0
		s := simulate.Draw(3, d, generators["a"].world)
		if ss == nil {
			var err error
			if ss, err = s.Seatings(t.Context(), 3, 2); err != nil {
				t.Fatal(err)
			}
		}
		before := map[string]fitcorr.Seating{}
		for _, one := range ss {
			before[one.ID] = one
		}
		taken, alike := c.surfaces.take(s, ss)
		models, displaced, changed := map[string]bool{}, map[string]int{}, 0
		for _, one := range taken {
			if one.Model != "" {
				models[one.Model] = true
			}
			if one.Survey != nil && !one.OnFixture() {
				displaced[one.Model]++
			}
			for b, v := range one.Ears[0].LevelDB {
				if v != before[one.ID].Ears[0].LevelDB[b] {
					changed++
					break
				}
			}
		}
		const rows = 2 * 4 // listeners, displacements
		want := map[string]int{}
		if c.surfaces.own || c.surfaces.foretold {
			want["Model A"] = rows
		}
		if c.surfaces.displaced {
			for _, m := range []string{"Model B", "Model C", "Model D"}[:c.surfaces.models] {
				want[m] = rows
			}
		}
		if len(models) != 1+c.surfaces.models || len(displaced) != len(want) || len(s.Models) != 1 {
			t.Errorf("%s: models %v, displaced rows %v, judged %v", c.name, models, displaced, s.Models)
		}
		for m, n := range want {
			if displaced[m] != n {
				t.Errorf("%s: %d displaced rows of %s, want %d", c.name, displaced[m], m, n)
			}
		}
		if made := c.surfaces.foretold; made != (changed == rows) || (c.surfaces.alike > 0) != (alike != 0) || math.Abs(alike) > 1 {
			t.Errorf("%s: %d rows made, correlation %g", c.name, changed, alike)
		}
		counts[c.name] = len(taken)
	}
	if len(counts) != 9 {
		t.Errorf("conditions %v", counts)
	}
}

// Where the ears move every model alike, one earlier model foretells the new one's rows
// whole, and nothing is foretold of ears that are as the fixture's.
func TestLevelsAlike(t *testing.T) {
	d := ordinary()
	d.Listeners, d.DisplacedListeners, d.Closed, d.Open, d.SurveySize, d.SurveyLeaks = 2, 2, 2, 0, 1, 0
	s := simulate.Draw(4, d, generators["a"].world)
	s.World = oneModel{s.World}
	for i, r := range s.Rows { // worn alike too
		if r.ModelIndex == 1 && r.Worn() {
			for _, as := range s.Rows {
				if as.ModelIndex == 0 && as.Worn() && as.SubjectIndex == r.SubjectIndex && as.Number == r.Number {
					s.Rows[i].True = as.True
				}
			}
		}
	}
	ss, err := s.Seatings(t.Context(), 4, 2)
	if err != nil {
		t.Fatal(err)
	}
	levels, corr := levelsAlike(s, ss, 1)
	if math.Abs(corr-1) > 1e-9 || len(levels) != 8 {
		t.Errorf("correlation %g, %d rows", corr, len(levels))
	}
	for i, r := range s.Rows {
		for e, level := range levels[r.File] {
			for b, v := range level {
				if math.Abs(v-ss[i].Ears[e].LevelDB[b]) > 1e-9 {
					t.Fatalf("%s, ear %d, band %d: %g dB, want %g", r.File, e, b, v, ss[i].Ears[e].LevelDB[b])
				}
			}
		}
	}
}

// oneModel sounds as its first model, whichever is worn.
type oneModel struct{ simulate.Acoustics }

func (w oneModel) Headphone(_, subject int, ear capture.Ear, p simulate.Placement, g *simulate.Grid) []complex128 {
	return w.Acoustics.Headphone(0, subject, ear, p, g)
}

// The gain is that of the same studies, and only written where there is one to hold it against.
func TestSurfaceGains(t *testing.T) {
	of := func(errs ...float64) (out []score) {
		for _, e := range errs {
			var s score
			s.trials[panelMean][0] = []trial{{err: e}}
			s.trials[panelMean][1] = []trial{{err: 0}}
			out = append(out, s)
		}
		return out
	}
	none, own := condition{name: noSurfaces, surfaces: &surfaces{}}, condition{name: "surfaces-own", surfaces: &surfaces{own: true}}
	var b bytes.Buffer
	surfaceGains(&b, []result{{none, "a", of(2, 4)}, {own, "a", of(1, 3)}})
	if want := "| a, surfaces-own | 2.50 ± 2.00 | 2.50 ± 1.00 | – | – |\n"; !strings.Contains(b.String(), want) {
		t.Errorf("%s\nwant %s", b.String(), want)
	}
	b.Reset()
	if surfaceGains(&b, []result{{own, "a", of(1, 3)}}); b.Len() > 0 {
		t.Errorf("nothing to hold it against: %s", b.String())
	}
}
