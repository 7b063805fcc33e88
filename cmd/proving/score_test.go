package main

import (
	"math"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
	"asworn/fitcorr"
)

// oracle answers with the truth, moved by shift, with standard deviation sd on every axis.
func oracle(s *simulate.Study, shift, sd float64) fitcorr.Analysis {
	estimate := func(v [3]float64) fitcorr.Estimate {
		var e fitcorr.Estimate
		for a := range 3 {
			e.Value[a] = v[a] + shift
			e.Cov[a][a] = sd * sd
		}
		return e
	}
	var out fitcorr.Analysis
	for m, name := range s.Models {
		ma := fitcorr.ModelAnalysis{Model: name, Worn: &fitcorr.Worn{
			Mean: estimate(s.Worn[m].PanelMean), People: estimate(s.Worn[m].Mean), Seatings: 4}}
		for e, at := range cupMeans(s)[m] {
			ma.Worn.EarMean[e] = estimate(at)
			ma.Worn.LeakLossDB[e][1] = s.PeopleLossDB(m, capture.Ear(e)) + shift
			ma.Worn.LeakLossSE[e][1] = sd
		}
		for _, r := range s.Rows {
			if r.ModelIndex != m || r.Survey != nil {
				continue
			}
			o := fitcorr.Offset{ID: r.File, Headset: estimate(r.Headset())}
			for e, p := range r.True {
				o.Ears[e] = estimate(p.Vector())
				seal := s.World.Seal(m, r.SubjectIndex, capture.Ear(e), p)
				o.Leak[e] = fitcorr.Leak{Class: "sealed", LossDB: seal.LossDB}
				if seal.CornerHz > 0 {
					o.Leak[e].Class, o.Leak[e].CornerHz, o.Leak[e].CornerSE = "leaking", 1.05*seal.CornerHz, 0.05*seal.CornerHz
				}
			}
			ma.Offsets = append(ma.Offsets, o)
			if r.OnFixture() {
				ma.Verdicts = append(ma.Verdicts, fitcorr.Verdict{
					ID: r.File, Outcome: fitcorr.Use,
				})
			}
		}
		out.Models = append(out.Models, ma)
	}
	return out
}

func studies(n int) []*simulate.Study {
	d := ordinary()
	d.Listeners, d.Seatings, d.SurveySize, d.BareEar, d.LeakChance = 3, 2, 0, false, 0.9
	var out []*simulate.Study
	for i := range n {
		out = append(out, simulate.Draw(uint64(i), d, piston.World))
	}
	return out
}

func TestJudgeScoresTheTruth(t *testing.T) {
	for _, c := range []struct{ shift, sd, cover float64 }{{0, 0.1, 100}, {0.5, 1, 100}, {-0.5, 0.2, 0}} {
		var scores []score
		for _, s := range studies(3) {
			scores = append(scores, judge(s, oracle(s, c.shift, c.sd), 0.95))
		}
		for q := range quantities {
			for a := range 3 {
				f := axisOf(scores, q, a)
				if math.Abs(f.bias.value-c.shift) > 1e-9 || math.Abs(f.rms.value-math.Abs(c.shift)) > 1e-9 || f.cover.value != c.cover {
					t.Errorf("shift %g, sd %g: %s axis %d: %+v", c.shift, c.sd, quantityNames[q], a, f)
				}
			}
		}
		for _, d := range distances {
			if got := rate(scores, at(d), fitcorr.Use); got.value != 100 {
				t.Errorf("verdicts at %g mm: %+v", d, got)
			}
		}
		// All are called in place, 3 of 6 (drum) and 2 of 4 (blocked) are 6 mm off or more.
		if _, count, of := wrongs(scores); count != 5*9 || of < 9*8 {
			t.Errorf("%d of %d wrong", count, of)
		}
		l := leaksOf(scores)
		if l.n == 0 || l.found.value != 100 || l.within10.value != 100 || math.Abs(l.median-5) > 1e-9 || l.loss.value != 0 || l.wrongly.value != 0 || l.corner.value != 100 || l.panel.value != c.cover {
			t.Errorf("leaks: %+v", l)
		}
	}
}

// All is missing of an empty analysis, but for two seatings beyond the survey's reach.
func TestJudgeCountsWhatIsMissing(t *testing.T) {
	s := studies(1)[0]
	got := judge(s, fitcorr.Analysis{}, 0.95)
	want := [quantities]int{fixtureDrum: 17, fixtureBlocked: 11, fixtureCup: 56, wornHeadset: 18, wornCup: 36, peopleMean: 3, panelMean: 3, panelCup: 6}
	if got.missing != want || got.noVerdict != 30 {
		t.Errorf("missing %v (want %v), verdicts %d", got.missing, want, got.noVerdict)
	}
}

// A wrong sign counts only when the estimate claims to be sure of it.
func TestGrossErrors(t *testing.T) {
	var s score
	for _, c := range []struct{ value, truth, sd float64 }{{3, -1, 1}, {1.5, -1, 1}, {3, 1, 1}} {
		var e fitcorr.Estimate
		e.Value[0], e.Cov[0][0] = c.value, c.sd*c.sd
		s.add(0, e, [3]float64{c.truth}, 0.95)
	}
	for i, want := range []bool{true, false, false} {
		if got := s.trials[0][0][i].gross; got != want {
			t.Errorf("trial %d: gross %v", i, got)
		}
	}
}

// With equal counts the clustered error is the standard error of the studies' means.
func TestClustered(t *testing.T) {
	got := clustered([]float64{2, 4, 9}, []float64{2, 2, 2})
	// Means 1, 2, 4.5: mean 2.5, variance 3.25.
	if math.Abs(got.value-2.5) > 1e-12 || math.Abs(got.se-math.Sqrt(3.25/3)) > 1e-12 {
		t.Errorf("%+v", got)
	}
}

func TestConditionsDifferByName(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range conditions() {
		if seen[c.name] || c.what == "" || strings.ContainsAny(c.name, " |") {
			t.Errorf("condition %q", c.name)
		}
		seen[c.name] = true
	}
}

// A correction that makes all of the true change is nearer and covered; one
// that makes it the wrong way round is neither.
func TestCorrectScoresTheTruth(t *testing.T) {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.SurveySize, d.BareEar, d.Closed, d.Open, d.Scatter = 2, 1, 0, false, 1, 0, 0
	d.FixtureOffsetsMM = []float64{6, 6, 6, 6, 6, 6}
	s := simulate.Draw(3, d, piston.World)
	measured, err := s.Seatings(t.Context(), 3, 2)
	if err != nil {
		t.Fatal(err)
	}
	aim := simulate.NewAim(s)
	for _, sign := range []float64{1, -1} {
		ma := fitcorr.ModelAnalysis{Model: s.Models[0], Worn: &fitcorr.Worn{}}
		for _, r := range s.Rows {
			if !r.OnFixture() {
				continue
			}
			c := fitcorr.Correction{ID: r.File, Point: r.Point, Ear: capture.Right, DeltaDB: aim.ChangeDB(r, capture.Right)}
			for b := range c.DeltaDB {
				c.DeltaDB[b] *= sign
				c.StdErrDB, c.Applied = append(c.StdErrDB, 1e-6), append(c.Applied, true)
			}
			ma.Corrections = append(ma.Corrections, c)
		}
		var got score
		got.correct(s, measured, fitcorr.Analysis{Models: []fitcorr.ModelAnalysis{ma}})
		if len(got.corrections) != 12 {
			t.Fatalf("%d corrections, want 12", len(got.corrections))
		}
		for _, c := range got.corrections {
			if nearer := c.whole[1] < c.whole[0] && c.there[1] < c.there[0]; nearer != (sign > 0) || !c.applied || math.Abs(c.distance-6) > 1e-9 {
				t.Errorf("sign %g: %+v", sign, c)
			}
			if sign > 0 && (c.inside != c.all || c.all == 0 || c.whole[1] > 0.05) {
				t.Errorf("the true change: %+v", c)
			}
		}
	}
}

// A coverage is missed on either side when enough trials show it, and not
// when few do.
func TestCoverageOnBothSides(t *testing.T) {
	for _, c := range []struct {
		covered, of          int // per study, of 100 studies
		misspecified, missed bool
	}{{19, 20, false, false}, {17, 20, false, true}, {20, 20, false, true}, {20, 20, true, false}, {17, 20, true, true}} {
		r := result{condition{design: ordinary(), bars: bars{misspecified: c.misspecified}}, "a", make([]score, 100)}
		for i := range r.scores {
			for q := range quantities {
				for a := range 3 {
					for k := range c.of {
						r.scores[i].trials[q][a] = append(r.scores[i].trials[q][a], trial{covered: (k+i)%c.of < c.covered})
					}
				}
			}
		}
		if got := misses(r); (len(got) > 0) != c.missed {
			t.Errorf("%d of %d, misspecified %v: %v", c.covered, c.of, c.misspecified, got)
		}
	}
	few := figure{value: 100, se: 0, n: 12}
	if 100-shown(4)*rateSE(few, 95, 4) > 97 {
		t.Error("twelve trials of four studies cannot show that too many are covered")
	}
	if atLeast(1, 100, 0.01) < 0.6 || atLeast(5, 100, 0.01) > 0.005 {
		t.Error("binomial tail")
	}
}
