package fitcorr

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/verdict"
)

// toyScore gathers errors over studies.
type toyScore struct {
	sq, n, cover [3]float64
	z2           [3]float64
}

func (s *toyScore) add(est seat.Estimate, truth [3]float64) {
	for a := range 3 {
		d := est.Value[a] - truth[a]
		sd := math.Sqrt(est.Cov[a][a])
		s.sq[a] += d * d
		s.n[a]++
		s.z2[a] += d * d / (sd * sd)
		if math.Abs(d) < 1.96*stats.TScale(est.DF, 0.025)*sd {
			s.cover[a]++
		}
	}
}

func (s *toyScore) String() string {
	out := ""
	for a := range 3 {
		out += fmt.Sprintf("  rms %.2f z %.2f cover %.3f", math.Sqrt(s.sq[a]/s.n[a]), math.Sqrt(s.z2[a]/s.n[a]), s.cover[a]/s.n[a])
	}
	return fmt.Sprintf("%s (n %.0f)", out, s.n[0])
}

type toySummary struct {
	survey, fixture, fixtureEar, worn, wornEar, mean, pop toyScore
	near, far                                             map[verdict.Outcome]int
}

func (t *toySummary) addStudy(a Analysis, truth toy.Truth) {
	if t.near == nil {
		t.near, t.far = map[verdict.Outcome]int{}, map[verdict.Outcome]int{}
	}
	for _, m := range a.Models {
		for _, o := range m.Offsets {
			pos := truth.Pos[o.ID]
			var head [3]float64
			for a := range 3 {
				head[a] = (pos[0][a] + pos[1][a]) / 2
			}
			switch {
			case o.Survey:
				t.survey.add(o.Headset, head)
			case o.Subject == capture.FixtureSubject:
				t.fixture.add(o.Headset, head)
				for e := range 2 {
					t.fixtureEar.add(o.Ears[e], pos[e])
				}
			default:
				t.worn.add(o.Headset, head)
				for e := range 2 {
					t.wornEar.add(o.Ears[e], pos[e])
				}
			}
		}
		if m.Worn != nil {
			t.mean.add(m.Worn.Mean, truth.Mean[m.Model])
			t.pop.add(m.Worn.Mean, truth.Pop[m.Model])
		}
		for _, v := range m.Verdicts {
			if v.Seating%2 == 0 {
				t.near[v.Outcome]++
			} else {
				t.far[v.Outcome]++
			}
		}
	}
}

// TestToyStudies holds the estimator against the toy's truth. ASWORN_TOY=n
// prints the table of n full studies instead of the small one's bounds.
func TestToyStudies(t *testing.T) {
	t.Parallel()
	n, plan := 1, toy.Small(100)
	if v, err := strconv.Atoi(os.Getenv("ASWORN_TOY")); err == nil {
		n, plan = v, toy.Default(100)
	}
	var sum toySummary
	for range n {
		ss, truth := plan.Study()
		a, _, err := Analyse(context.Background(), ss, seat.DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		sum.addStudy(a, truth)
		plan.Seed++
	}
	t.Log("survey     ", &sum.survey)
	t.Log("fixture    ", &sum.fixture)
	t.Log("fixture ear", &sum.fixtureEar)
	t.Log("worn       ", &sum.worn)
	t.Log("worn ear   ", &sum.wornEar)
	t.Log("panel mean ", &sum.mean)
	t.Log("population ", &sum.pop)
	t.Log("near", sum.near, "far", sum.far)
	// The toy shows a step less clearly than a real pinna; its intervals must
	// hold all the same, and no seating 6 mm off may match.
	for a := range 2 {
		if z := math.Sqrt(sum.fixture.z2[a] / sum.fixture.n[a]); z > 2 {
			t.Errorf("%v: fixture offsets miss by %.1f of their standard deviations", seat.Axis(a), z)
		}
		if z := math.Sqrt(sum.worn.z2[a] / sum.worn.n[a]); z > 2.5 {
			t.Errorf("%v: worn offsets miss by %.1f of their standard deviations", seat.Axis(a), z)
		}
	}
	if sum.far[verdict.Use] > 0 || sum.near[verdict.Move] > sum.near[verdict.Use]+sum.near[verdict.Undetermined] {
		t.Errorf("verdicts near %v, far %v", sum.near, sum.far)
	}
}

// TestAnalyseDeterministic: the number of workers changes nothing, and a
// frozen study that went through JSON judges a fixture seating as the study did.
func TestAnalyseDeterministic(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	plan := toy.Small(5)
	plan.Listeners = 2
	ss, _ := plan.Study()
	opt := seat.DefaultOptions()
	opt.Jobs = 1
	one, frozen, err := Analyse(context.Background(), ss, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt.Jobs = 4
	many, _, err := Analyse(context.Background(), ss, opt)
	if err != nil {
		t.Fatal(err)
	}
	a, err := json.Marshal(one)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := json.Marshal(many)
	if string(a) != string(b) {
		t.Error("results depend on the number of workers")
	}
	text, err := json.Marshal(frozen)
	if err != nil {
		t.Fatal(err)
	}
	var thawed Frozen
	if err := json.Unmarshal(text, &thawed); err != nil {
		t.Fatal(err)
	}
	var seating seat.Seating
	for _, s := range ss {
		if s.ID == "Model A/fixture1" {
			seating = s
		}
	}
	o, v, err := thawed.Check(seating)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range one.Models[0].Verdicts {
		if want.ID != seating.ID {
			continue
		}
		if want.Outcome != v.Outcome || want.Headset.Off != v.Headset.Off {
			t.Errorf("check says %v %v, the study said %v %v", v.Outcome, v.Headset.Off.Value, want.Outcome, want.Headset.Off.Value)
		}
	}
	if o.ID != seating.ID {
		t.Errorf("offset of %q", o.ID)
	}
	seating.Model = "Model Z"
	if _, _, err := thawed.Check(seating); err == nil {
		t.Error("a model the study never met was judged")
	}
	seating.Model, seating.Point = "Model A", "drum"
	if _, _, err := thawed.Check(seating); err == nil {
		t.Error("a drum seating was judged")
	}
}

// TestAnalysePoorStudies: what a study cannot support is left out and said.
func TestAnalysePoorStudies(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	plan := toy.Small(9)
	plan.Models, plan.Listeners = 1, 2
	full, _ := plan.Study()
	keep := func(f func(s seat.Seating) bool) []seat.Seating {
		var out []seat.Seating
		for _, s := range full {
			if f(s) {
				out = append(out, s)
			}
		}
		return out
	}
	deaf := func(ears ...int) []seat.Seating {
		var out []seat.Seating
		for _, s := range full {
			for _, e := range ears {
				s.Ears[e].Valid = make([]bool, len(s.Ears[e].Valid))
			}
			out = append(out, s)
		}
		return out
	}
	drumAlone := keep(func(s seat.Seating) bool {
		return s.Subject == capture.FixtureSubject && s.Survey == nil && s.Model != ""
	})
	for i := range drumAlone {
		drumAlone[i].Point = capture.Drum
	}
	worn := func(s seat.Seating) bool { return s.Subject != capture.FixtureSubject && s.Model != "" }
	cases := []struct {
		name           string
		ss             []seat.Seating
		cannot         string // part of what must be said
		offsets, panel bool
	}{
		{"nothing", nil, "no headphone seating", false, false},
		{"no survey", keep(func(s seat.Seating) bool { return s.Survey == nil }), "no position survey", false, false},
		{"no survey, the drum alone", drumAlone, "no position survey", false, false},
		{"no panel", keep(func(s seat.Seating) bool { return !worn(s) }), "nobody wore", true, false},
		{"one listener", keep(func(s seat.Seating) bool { return s.Subject != "L02" }), "one listener", true, true},
		{"no fixture seating", keep(func(s seat.Seating) bool {
			return s.Subject != capture.FixtureSubject || s.Survey != nil || s.Model == ""
		}), "no ordinary seating on the fixture", true, true},
		{"one ear", deaf(1), "right ear", true, true},
		{"no band counts", deaf(0, 1), "offsets in mm", false, false},
		{"one seating", full[len(full)-8 : len(full)-7], "", false, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			a, _ := analyse(t, c.ss)
			said := strings.Join(a.Cannot, "; ")
			offsets, panel := false, false
			for _, m := range a.Models {
				said += "; " + strings.Join(m.Cannot, "; ")
				offsets = offsets || len(m.Offsets) > 0
				panel = panel || m.Worn != nil
			}
			if !strings.Contains(said, c.cannot) {
				t.Errorf("said %q, not %q", said, c.cannot)
			}
			if offsets != c.offsets || panel != c.panel {
				t.Errorf("offsets %v, panel %v; want %v, %v", offsets, panel, c.offsets, c.panel)
			}
			if _, err := json.Marshal(a); err != nil {
				t.Errorf("not a number somewhere: %v", err)
			}
		})
	}
}

// TestSlippedRow: one survey row that lies is found and hardly counts.
func TestSlippedRow(t *testing.T) {
	t.Parallel()
	plan := toy.Small(3)
	plan.Models, plan.Listeners, plan.Bare = 1, 0, false
	ss, _ := plan.Study()
	for i := range ss {
		if ss[i].ID == "Model A/survey5" {
			d := *ss[i].Survey
			d.ForwardMM = -d.ForwardMM
			ss[i].Survey = &d
		}
	}
	a, _, err := Analyse(context.Background(), ss, seat.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	if w := strings.Join(a.Models[0].Survey[0].Warnings, "; "); !strings.Contains(w, "Model A/survey5") {
		t.Errorf("the slipped row is not named: %q", w)
	}
}

// BenchmarkAnalyse estimates a study of three models, eight listeners with five
// seatings each, surveys and bare-ear references, with 1,000 draws of each
// bootstrap, on all cores.
func BenchmarkAnalyse(b *testing.B) {
	ss, _ := toy.Default(1).Study()
	for b.Loop() {
		if _, _, err := Analyse(context.Background(), ss, seat.DefaultOptions()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheck(b *testing.B) {
	ss, _ := toy.Small(1).Study()
	_, f, err := Analyse(context.Background(), ss, seat.DefaultOptions())
	if err != nil {
		b.Fatal(err)
	}
	for _, s := range ss {
		if s.ID != "Model A/fixture1" {
			continue
		}
		for b.Loop() {
			if _, _, err := f.Check(s); err != nil {
				b.Fatal(err)
			}
		}
	}
}
