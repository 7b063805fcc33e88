package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/fitcorr/seat"
)

// alone judges one number by both tests, each at the whole size.
func alone(e seat.Estimate, tol, confidence float64) (Outcome, [3]float64) {
	d := newDistanceTests(e, tol)
	switch at := newSize(1-confidence, e.DF); {
	case d.within(at):
		return Use, d.interval(confidence)
	case d.beyond(at) <= at.alpha:
		return Move, d.interval(confidence)
	}
	return Undetermined, d.interval(confidence)
}

// TestDistanceJudged draws estimates about known offsets: the equivalence test
// keeps its size on the border, has its power inside and outside, and the
// interval of the distance covers.
func TestDistanceJudged(t *testing.T) {
	const draws, tol, sd = 1500, 3.0, 0.7
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
			out, d := alone(e, tol, 0.95)
			switch out {
			case Use:
				matches++
			case Move:
				adjust++
			}
			if d[1] <= c.true && c.true <= d[2] {
				covered++
			}
			if !(d[1] <= d[0] && d[0] < d[2]) {
				t.Fatalf("true %g mm: interval %v does not hold its estimate", c.true, d)
			}
		}
		matches, adjust, covered = matches/draws, adjust/draws, covered/draws
		t.Logf("true %g mm: matches %.3f, adjust %.3f, interval covers %.3f", c.true, matches, adjust, covered)
		if matches < c.matchesMin || matches > c.matchMax || adjust < c.adjustMin || adjust > c.adjustMax {
			t.Errorf("true %g mm: matches %.3f, adjust %.3f", c.true, matches, adjust)
		}
		if math.Abs(covered-0.95) > 0.015 && covered < 0.95 {
			t.Errorf("true %g mm: interval covers %.3f", c.true, covered)
		}
	}
}
