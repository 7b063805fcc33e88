package verdict

import (
	"math/rand/v2"
	"testing"

	"asworn/fitcorr/seat"
)

// TestDistanceJudged draws estimates about known offsets: the equivalence test
// keeps its size on the border, has its power inside and outside, and the
// limits of the distance cover.
func TestDistanceJudged(t *testing.T) {
	const draws, tol, sd = 800, 3.0, 0.7
	for _, c := range []struct {
		true                 float64
		matchesMin, matchMax float64
		adjustMin, adjustMax float64
	}{
		{true: 0, matchesMin: 0.8, matchMax: 1, adjustMax: 0.01},
		{true: tol, matchMax: 0.06, adjustMax: 0.06},
		{true: 6, matchMax: 0.01, adjustMin: 0.9, adjustMax: 1},
	} {
		r := rand.New(rand.NewPCG(1, uint64(c.true)))
		var matches, adjust, covered float64
		for range draws {
			e := seat.Estimate{Value: [3]float64{c.true + sd*r.NormFloat64(), sd * r.NormFloat64()}}
			e.Cov[0][0], e.Cov[1][1] = sd*sd, sd*sd
			out, d := judgeAlone(e, tol, 0.95)
			switch out {
			case Use:
				matches++
			case Move:
				adjust++
			}
			if out != outcome(e, tol) {
				t.Fatalf("%s with limits %v, by the tests %s", out, d, outcome(e, tol))
			}
			if d[1] <= c.true && c.true <= d[2] {
				covered++
			}
			if !(d[1] <= d[0] && d[0] < d[2]) {
				t.Fatalf("true %g mm: limits %v do not hold its estimate", c.true, d)
			}
		}
		matches, adjust, covered = matches/draws, adjust/draws, covered/draws
		t.Logf("true %g mm: matches %.3f, adjust %.3f, limits cover %.3f", c.true, matches, adjust, covered)
		if matches < c.matchesMin || matches > c.matchMax || adjust < c.adjustMin || adjust > c.adjustMax {
			t.Errorf("true %g mm: matches %.3f, adjust %.3f", c.true, matches, adjust)
		}
		// Each limit is one-sided at 95 %; a true distance of 0 lies above no lower one.
		if want := map[bool]float64{true: 0.95, false: 0.9}[c.true == 0]; covered < want-0.015 {
			t.Errorf("true %g mm: limits cover %.3f", c.true, covered)
		}
	}
}

// TestLimitsDecide: the outcome of a part is where its limits lie against the tolerance, for one
// place and for several.
func TestLimitsDecide(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const tol = 3
	draw := func() distanceTests {
		var e seat.Estimate
		e.Value[0], e.Value[1], e.DF = 4*rng.NormFloat64(), 4*rng.NormFloat64(), 8
		sd := 0.3 + 1.2*rng.Float64()
		e.Cov[0][0], e.Cov[1][1] = sd*sd, 0.5*sd*sd
		return newDistanceTests(e, tol)
	}
	at := newSizes(0.05, 8)
	count := map[Outcome]int{}
	for range 300 {
		var tests [parts]mixtureTests
		w := 0.5 + 0.5*rng.Float64()
		for i := range tests {
			if tests[i] = oneTest(draw()); i == 0 {
				tests[i] = mixtureTests{{w, draw()}, {1 - w, draw()}}
			}
		}
		p := judgeNumbers(tests, 0.95)
		for i, d := range p.DistancesMM {
			want := Undetermined
			switch {
			case d[1] >= tol:
				want = Move
			case d[2] <= tol:
				want = Use
			}
			if p.Parts[i] != want {
				t.Fatalf("part %d: %s with limits %v", i, p.Parts[i], d)
			}
			if got := tests[i].pWithin(d[2], at[i].alone); got > 0.05 {
				t.Errorf("part %d: P of %.3f within the upper limit", i, got)
			}
			count[want]++
		}
		if part := map[Part]int{LeftCup: 0, RightCup: 1, Headset: 2}[p.Decides]; p.Outcome != Undetermined && p.Parts[part] != p.Outcome {
			t.Errorf("%s decided by %s, which is %s", p.Outcome, p.Decides, p.Parts[part])
		}
	}
	for _, o := range []Outcome{Use, Move, Undetermined} {
		if count[o] < 50 {
			t.Errorf("%s drawn %d times only", o, count[o])
		}
	}
}
