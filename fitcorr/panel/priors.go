package panel

import (
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// What the panel takes for granted before it is heard. Nothing here is from a
// standard; where no source is named a value is our choice, with its reason.
// Weights are in draws of what they stand against: a listener, a seating.

// Where people wear a headphone. Millimetres and degrees, standard deviations:
// common to both ears, and of each ear's own.
var (
	// priorBetween, of listeners' means: a cup is set by the pinna, whose height
	// and breadth differ by a few millimetres between adults.
	priorBetween, priorBetweenOwn = [3]float64{2, 2, 2}, [3]float64{0.7, 0.7, 0.7}
	// priorWithin, of one listener's seatings: what people who put a headphone
	// on again look like in repeat studies of its response (docs/offsets.md).
	priorWithin, priorWithinOwn = [3]float64{1.5, 1.5, 1.5}, [3]float64{0.5, 0.5, 0.5}
	// priorConfounded, of ear differences that look like a movement: an ear's
	// parts sit some millimetres elsewhere in relation to its canal.
	priorConfounded    = [3]float64{1.3, 1.3, 2}
	priorConfoundedOwn = stats.Scaled3(priorConfounded, 0.5)
)

const (
	priorListeners           = 2.0 // weight of priorBetween in listeners, of priorWithin in seatings: a few heads overrule it
	priorConfoundedListeners = 4.0 // weight of priorConfounded: a panel of one model says nothing of it
	bareFloorDB              = 0.1 // repeated bare-ear recordings never agree better
	priorScatter             = 4.0 // weight, in ear curves, of worn scatter being the fixture's
)

// outlierTail is the tail probability under the model below which an outlier's
// residual must lie too.
const outlierTail = 1e-3

// Rounds of expectation–maximisation: until the deviance of a level changes by
// less than convergedDeviance from one round to the next (a thousandth of what
// one level adds to it; the worn mean then moves by hundredths of a millimetre),
// at most mostRounds. From settledRounds on no seating becomes an outlier or
// ceases to be one, which would go to and fro.
const (
	convergedDeviance = 1e-3
	mostRounds        = 30
	settledRounds     = 6
)

// priorCovariances is how people differ before the panel is heard.
func (p *panel) priorCovariances() *effects.Covariances {
	ears := p.law().PriorEars()
	s := &effects.Covariances{Sum: ears[0], Diff: ears[1],
		Confounded: placing.HeadsetCov(priorConfounded, priorConfoundedOwn), Fixture: [2]float64{1, 1}}
	for range p.models {
		s.Between = append(s.Between, placing.HeadsetCov(priorBetween, priorBetweenOwn))
	}
	return s
}
