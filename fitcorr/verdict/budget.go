package verdict

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// What further work gains, as factors on the variance that it is about. Four of a
// thing instead of one average its error; twice the listeners halve theirs. What
// displaced listeners and bare-ear references gain is the square of the ratio of
// errors that rules taught on simulated people reached with them and without
// (docs/developing/proving.md: 0.9 to 0.65 mm, and 1.1 to 0.9 mm).
const (
	fourInstead   = 1.0 / 4
	twiceInstead  = 1.0 / 2
	displacedGain = 0.52
	bareGain      = 0.67
)

// shared is a variance per axis, mm², in the part that both cups have in common
// and the part of each cup's own.
type shared struct{ common, own float64 }

func (s shared) headset() float64 { return s.common + s.own/2 }

func (s shared) plus(t shared) shared { return shared{s.common + t.common, s.own + t.own} }

func (s shared) scaled(by float64) shared { return shared{s.common * by, s.own * by} }

// sharedOf takes a headset's covariance apart, forward and up averaged.
func sharedOf(cov mat.Matrix) (s shared) {
	for a := range 2 {
		c := cov.At(a, 3+a)
		s.common += c / 2
		s.own += ((cov.At(a, a)+cov.At(3+a, 3+a))/2 - c) / 2
	}
	s.own = math.Max(0, s.own)
	return s
}

// source is a term with its action and what is left of it after that.
type source struct {
	Term
	now, then shared
}

// sources takes the uncertainty of one seating apart.
func sources(s seat.Seating, at position.FixtureSeating, t *Target, opt seat.Options) []source {
	var out []source
	add := func(name string, now shared, action string, then shared) {
		if now.headset() > 0 {
			out = append(out, source{Term: Term{Source: name, Action: action}, now: now, then: then})
		}
	}
	u := seat.ReadingOr(opt.Reading)
	worn := sharedOf(targetCov(t))
	ears := worn
	if r := t.Ruler; r != nil {
		fixture, turn := u.FixtureLandmarkMM*u.FixtureLandmarkMM, placing.ReadTurnMM*placing.ReadTurnMM
		alone := fixture + turn + r.LandmarkVar + r.OneVar
		// The weight of the readings in the mean is the variance left over theirs alone.
		w := math.Min(1, worn.headset()/alone)
		part := func(v float64) shared { return shared{common: w * w * v} }
		for _, p := range []struct {
			name   string
			v      float64
			action string
			gain   float64
		}{
			{"the canal entrance as found on the fixture", fixture, "finding the fixture's canal entrance four times as often and using the mean mark", fourInstead},
			{"how people turn the headband", turn, "", 1},
			{"the canal entrances as found on the listeners", r.LandmarkVar, "twice the listeners", twiceInstead},
			{"single readings on the listeners", r.OneVar, "reading each worn placement four times", fourInstead},
		} {
			add(p.name, part(p.v), p.action, part(p.v).scaled(p.gain))
			ears.common -= w * w * p.v
		}
		ears.common = math.Max(0, ears.common)
	}
	switch {
	case t.Ruler == nil && !t.Read:
		alone := u.FixtureLandmarkMM*u.FixtureLandmarkMM + placing.ReadTurnMM*placing.ReadTurnMM +
			(u.LandmarkMM*u.LandmarkMM+u.OneMM*u.OneMM*float64(t.Listeners)/math.Max(1, float64(t.Seatings)))/math.Max(1, float64(t.Listeners))
		add("ears taken for positions", ears, "reading positions with a ruler on listeners and fixture",
			shared{1 / (1/math.Max(ears.common, 1e-9) + 1/alone), ears.own})
	case !t.Displaced:
		add("ears taken for positions", ears, "wearing the model 4 mm off on purpose, four ways, by every listener", ears.scaled(displacedGain))
	case !t.Bare:
		add("ears taken for positions", ears, "a bare-ear reference of every listener and of the fixture", ears.scaled(bareGain))
	default:
		add("ears taken for positions", ears, "twice the listeners", ears.scaled(twiceInstead))
	}
	own := sharedOf(at.Cov)
	if mark := (at.MarkVariance[0] + at.MarkVariance[1]) / 2; mark > 0 {
		mark = math.Min(mark, own.common)
		own.common -= mark
		add("the mark between the two surveys", shared{common: mark}, "reading the survey rows at both points with a ruler", shared{common: mark * twiceInstead})
	}
	if t.Ruler != nil && s.Readings() < 4 {
		// Three more of the same placement, beside those that it has.
		more := (4 - s.Readings()) / (u.OneMM * u.OneMM)
		add("where this seating sits", own, fmt.Sprintf("reading its position %.0f times with a ruler", math.Ceil(4-s.Readings())), shared{1 / (1/math.Max(own.common, 1e-9) + more), own.own})
	} else {
		add("where this seating sits", own, "a survey of twice the rows", own)
	}
	slices.SortStableFunc(out, func(a, b source) int {
		return cmp.Compare(b.now.headset()-b.then.headset(), a.now.headset()-a.then.headset())
	})
	return out
}

func targetCov(t *Target) *mat.SymDense {
	c := mat.NewSymDense(placing.HeadsetDim, nil)
	for i := range placing.HeadsetDim {
		for j := i; j < placing.HeadsetDim; j++ {
			c.SetSym(i, j, t.Cov[i][j])
		}
	}
	return c
}

// budget lists the terms of one seating, what lowers the uncertainty most first,
// with the rates expected now and after the action of each.
func budget(s seat.Seating, at position.FixtureSeating, t *Target, df float64, opt seat.Options) (out []Term, use, move float64) {
	all := sources(s, at, t, opt)
	var total shared
	for _, x := range all {
		total = total.plus(x.now)
	}
	use, move = rates(total, df, opt)
	for _, x := range all {
		x.MM = math.Sqrt(x.now.headset())
		if x.then != x.now {
			x.AfterMM = math.Sqrt(x.then.headset())
			left := total.plus(x.then).plus(x.now.scaled(-1))
			x.Use, x.Move = rates(left, df, opt)
		}
		out = append(out, x.Term)
	}
	return out, use, move
}

// rateDraws leaves an expected rate uncertain by some three points.
const rateDraws = 300

// ExpectedUse says how often a seating whose cups both sit at the worn mean is shown to,
// when the variance per axis, mm², is common in what both cups share and own in what each
// has besides; df are its degrees of freedom, 0 for many. Some three points uncertain:
// drawn, seeded. It is a rate, 0 to 1.
func ExpectedUse(common, own, df float64, opt seat.Options) float64 {
	return rate(shared{common, own}, df, opt, 0, Use)
}

// ExpectedMove is the same rate of move for a seating whose cups both sit twice the
// tolerance off.
func ExpectedMove(common, own, df float64, opt seat.Options) float64 {
	return rate(shared{common, own}, df, opt, 2*opt.MaxOffsetMM, Move)
}

// rates are the rates of use at the worn mean and of move at twice the tolerance.
func rates(v shared, df float64, opt seat.Options) (use, move float64) {
	return rate(v, df, opt, 0, Use), rate(v, df, opt, 2*opt.MaxOffsetMM, Move)
}

// rate is how often the tests have an outcome of a seating whose cups both sit so
// many mm off, with these uncertainties.
func rate(v shared, df float64, opt seat.Options, mm float64, of Outcome) (share float64) {
	common, own := math.Sqrt(math.Max(0, v.common)), math.Sqrt(math.Max(0, v.own))
	cov := placing.HeadsetCov([3]float64{common, common, 1}, [3]float64{own, own, 1})
	rng := rand.New(rand.NewPCG(opt.Seed, 0x72617465)) // "rate": apart from other uses of the seed
	each := newSizes(1-opt.Confidence, df)
	for range rateDraws {
		pos := [placing.HeadsetDim]float64{mm, 0, 0, mm}
		for a := range 2 {
			c := common * rng.NormFloat64()
			pos[a] += c + own*rng.NormFloat64()
			pos[3+a] += c + own*rng.NormFloat64()
		}
		ears, head := placing.Estimates(pos, cov, cov)
		var tests [parts]mixtureTests
		for k, e := range [parts]seat.Estimate{ears[0], ears[1], head} {
			e.DF = df
			tests[k] = oneTest(newDistanceTests(e, opt.MaxOffsetMM))
		}
		if shows(of, tests, each) {
			share += 1.0 / rateDraws
		}
	}
	return share
}
