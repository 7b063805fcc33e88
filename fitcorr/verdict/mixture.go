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

// counted leaves out the least probable places, of together less than a quarter
// of alpha.
func (m mixtureTests) counted(alpha float64) mixtureTests {
	var left float64
	n := len(m)
	for n > 1 && left+m[n-1].weight < alpha/4 {
		n--
		left += m[n].weight
	}
	return m[:n]
}

// upper is the one-sided upper limit of the distance: of the farthest place.
func (m mixtureTests) upper(s size) float64 {
	out := math.Inf(-1)
	for _, t := range m.counted(s.alpha) {
		out = math.Max(out, t.distanceTests.upper(s))
	}
	return out
}

// within tests that the distance is at least the tolerance.
func (m mixtureTests) within(s size) bool {
	var p float64
	for _, t := range m {
		p += t.weight * t.outside(s)
	}
	return p <= s.alpha
}

// beyond is the P value of the distance being at most the tolerance.
func (m mixtureTests) beyond(s size) float64 {
	var p float64
	for _, t := range m {
		p += t.weight * t.distanceTests.beyond(s)
	}
	return p
}

// interval is the mean distance with limits that span the places.
func (m mixtureTests) interval(confidence float64) [3]float64 {
	if len(m) == 1 {
		return m[0].distanceTests.interval(confidence)
	}
	out := [3]float64{0, math.Inf(1), math.Inf(-1)}
	for _, t := range m {
		out[0] += t.weight * t.dist
	}
	for _, t := range m.counted(1 - confidence) {
		one := t.distanceTests.interval(confidence)
		out[1], out[2] = math.Min(out[1], one[1]), math.Max(out[2], one[2])
	}
	return out
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
