package fitcorr

import (
	"context"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
)

// toyScore gathers errors over studies.
type toyScore struct {
	sq, n, cover [3]float64
	z2           [3]float64
}

func (s *toyScore) add(est Estimate, truth [3]float64) {
	for a := range 3 {
		d := est.Value[a] - truth[a]
		sd := math.Sqrt(est.Cov[a][a])
		s.sq[a] += d * d
		s.n[a]++
		s.z2[a] += d * d / (sd * sd)
		if math.Abs(d) < 1.96*tScale(est.DF, 0.025)*sd {
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
	near, far                                             map[Outcome]int
}

func (t *toySummary) addStudy(a Analysis, truth toyTruth) {
	if t.near == nil {
		t.near, t.far = map[Outcome]int{}, map[Outcome]int{}
	}
	for _, m := range a.Models {
		for _, o := range m.Offsets {
			pos := truth.pos[o.ID]
			var head [3]float64
			for a := range 3 {
				head[a] = (pos[0][a] + pos[1][a]) / 2
			}
			switch {
			case o.Survey:
				t.survey.add(o.Headset, head)
			case o.Subject == fixtureSubject:
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
			t.mean.add(m.Worn.Mean, truth.mean[m.Model])
			t.pop.add(m.Worn.Mean, truth.pop[m.Model])
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

// TestToyStudies is the estimator's table on the toy. ASWORN_TOY=n runs n studies.
func TestToyStudies(t *testing.T) {
	n := 1
	if v, err := strconv.Atoi(os.Getenv("ASWORN_TOY")); err == nil {
		n = v
	}
	var sum toySummary
	for i := range n {
		ss, truth := defaultToy(uint64(100 + i)).study()
		a, _, err := Analyse(context.Background(), ss, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		sum.addStudy(a, truth)
		if i == 0 {
			for _, m := range a.Models {
				t.Log(m.Model, m.Cannot, m.Worn.Mean.Value, truth.mean[m.Model], m.Worn.BetweenSD, m.Worn.WithinSD)
				t.Log(m.Survey[0].Method, m.Survey[0].HeldOutDB, m.Survey[0].HeldOutMM, m.Survey[0].PosteriorSD, m.Survey[0].Warnings)
			}
		}
	}
	t.Log("survey     ", &sum.survey)
	t.Log("fixture    ", &sum.fixture)
	t.Log("fixture ear", &sum.fixtureEar)
	t.Log("worn       ", &sum.worn)
	t.Log("worn ear   ", &sum.wornEar)
	t.Log("panel mean ", &sum.mean)
	t.Log("population ", &sum.pop)
	t.Log("near", sum.near, "far", sum.far)
}
