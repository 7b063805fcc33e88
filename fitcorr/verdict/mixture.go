package verdict

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
)

// mixtureTests are the tests of one distance under a mixture: one for each place
// that explains the seating, the most probable first, with its weight. Weights sum
// to 1. The P value of a mixture is the weighted mean of those of its places, so
// that a test keeps its size over all of them together. All have the same degrees of
// freedom.
type mixtureTests []weightedTests

type weightedTests struct {
	weight float64
	distanceTests
}

// oneTest is the mixture of a single place.
func oneTest(t distanceTests) mixtureTests { return mixtureTests{{1, t}} }

// pWithin is the P value of the distance being at least a tolerance in mm.
func (m mixtureTests) pWithin(tol float64, s size) (p float64) {
	for _, t := range m {
		p += t.weight * t.distanceTests.pWithin(tol, s)
	}
	return p
}

// pBeyond is the P value of the distance being at most a tolerance in mm.
func (m mixtureTests) pBeyond(tol float64, s size) (p float64) {
	for _, t := range m {
		p += t.weight * t.distanceTests.pBeyond(tol, s)
	}
	return p
}

// within is the P value of the test of lying within the tolerance, and whether that is shown.
func (m mixtureTests) within(at sizes) (p float64, shown bool) {
	p = m.pWithin(m[0].tol, at.alone)
	return p, p <= at.alone.alpha
}

// beyond is the same of lying outside.
func (m mixtureTests) beyond(at sizes) (p float64, shown bool) {
	p = m.pBeyond(m[0].tol, at.shared)
	return p, p <= at.shared.alpha
}

// limits are the mean distance and the tolerances between which neither test shows anything, mm: with
// one of the upper limit or more the seating would be shown to lie within, with one of the lower
// or less to lie outside. Each is thus a one-sided confidence limit of the distance, at the size of its test.
func (m mixtureTests) limits(at sizes) [3]float64 {
	var mean, far float64
	for _, t := range m {
		mean += t.weight * t.dist
		far = math.Max(far, t.dist+8*t.along*at.shared.wider)
	}
	lower, _ := bisect(far, func(tol float64) bool { return m.pBeyond(tol, at.shared) > at.shared.alpha })
	_, upper := bisect(far, func(tol float64) bool { return m.pWithin(tol, at.alone) <= at.alone.alpha })
	return [3]float64{mean, lower, upper}
}

// bisect brackets where in 0 to hi a condition begins to hold: lo, where it does not yet, or
// 0, and what is next to it, where it does.
func bisect(hi float64, holds func(float64) bool) (lo, _ float64) {
	for range 40 {
		if mid := (lo + hi) / 2; holds(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo, hi
}

// numbersOf are the tests of the left cup, the right cup and the headset under
// every place of a posterior against the worn mean, all with df degrees of freedom.
func numbersOf(p placing.Posterior, t *Target, df, tol float64) (out [parts]mixtureTests) {
	wide := mat.NewSymDense(placing.HeadsetDim, nil)
	wide.AddSym(placing.WornPrior(), placing.FixturePrior().Cov)
	for _, part := range p {
		diff, sum := t.apart(part.Pos, part.Cov)
		ears, head := placing.Estimates(diff, sum, wide)
		for i, e := range [parts]seat.Estimate{ears[0], ears[1], head} {
			e.DF = df
			out[i] = append(out[i], weightedTests{part.Weight, newDistanceTests(e, tol)})
		}
	}
	return out
}

// apart is a position less the worn mean, with the covariance of the difference.
func (t *Target) apart(pos [placing.HeadsetDim]float64, cov *mat.SymDense) ([placing.HeadsetDim]float64, *mat.SymDense) {
	sum := mat.NewSymDense(placing.HeadsetDim, nil)
	for i := range placing.HeadsetDim {
		pos[i] -= t.Mean[i]
		for j := i; j < placing.HeadsetDim; j++ {
			sum.SetSym(i, j, cov.At(i, j)+t.Cov[i][j])
		}
	}
	return pos, sum
}
