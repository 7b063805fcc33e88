package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/survey"
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
	priorConfoundedOwn = position.Scaled(priorConfounded, 0.5)
)

const (
	priorListeners           = 2.0 // weight of priorBetween in listeners, of priorWithin in seatings: a few heads overrule it
	priorConfoundedListeners = 4.0 // weight of priorConfounded: a panel of one model says nothing of it
	// confoundedOwn is the variance of a model's own part of what looks like a
	// movement, in terms of the part that the models share. Nothing in a study
	// determines it, since a listener's own position in a model looks the same.
	confoundedOwn = 0.4
	priorScatter  = 4.0 // weight, in ear curves, of worn scatter being the fixture's
)

// How ears differ from the fixture's, per position band.
const (
	earSizeWeight    = 1.0  // draws: weight of the prior standard deviation per band
	earCorrWeight    = 2.0  // draws: weight of the prior correlation between blocks
	earCorrOctaves   = 0.3  // of the smooth correlation over frequency, exponential: the width of a pinna's resonance
	earCorrMost      = 0.95 // largest correlation between blocks, so that no block determines another
	earDifference    = 0.4  // variance of (left − right)/√2 over that of (left + right)/√2: a head's ears resemble each other
	priorModelCorr   = 0.7  // correlation of one band between two models: the same pinna, loaded differently
	priorBareCorr    = 0.4  // correlation of one band between a model and the bare ear
	earFloorDB       = 0.08 // the least by which ears differ in a band
	bareFloorDB      = 0.1  // repeated bare-ear recordings never agree better
	fixtureEarWeight = 6.0  // weight, in determined directions of ear difference, of the fixture's ear varying as a person's
	rootCut          = 5e-3 // directions of ear difference with less than this variance, relative to the mean per band, are left out
)

// slopeSpanMM is how far around the panel's mean position the slope is
// averaged: the mean is not known better, and people's surfaces are not the
// fixture's in their finer bends.
const slopeSpanMM = 3.0

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
func (p *panel) priorCovariances() *covariances {
	s := &covariances{sum: p.law().priorEars(1), diff: p.law().priorEars(earDifference),
		confounded: position.HeadsetCov(priorConfounded, priorConfoundedOwn), fixture: [2]float64{1, 1}}
	for range p.models {
		s.between = append(s.between, position.HeadsetCov(priorBetween, priorBetweenOwn))
	}
	return s
}

// priorEars is the prior covariance (dB², width·n square) over the channels of
// one ear: little below 2 kHz, several dB where the pinna's own resonances lie.
func (law earLaw) priorEars(scale float64) *mat.SymDense {
	n := law.bands.N
	c := mat.NewSymDense(law.width()*n, nil)
	sd := priorEarSD(law.bands)
	for i := range law.width() * n {
		for j := i; j < law.width()*n; j++ {
			k, l := i/n, j/n
			v := scale * sd[i%n] * sd[j%n] * math.Exp(-law.bands.Octaves(i%n, j%n)/earCorrOctaves)
			switch {
			case k == l:
			case law.bare && l == law.width()-1:
				v *= priorBareCorr
			default:
				v *= priorModelCorr
			}
			if i == j {
				v *= 1.01
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

// priorEarSD is 2.5 dB from 5 kHz on and falls with the fourth power of the
// frequency below, dB per band: about what blocked-entrance responses of
// different people differ by (Møller et al., JAES 43(4), 1995, quoted from memory).
func priorEarSD(bands survey.Bands) []float64 {
	sd := make([]float64, bands.N)
	for r, hz := range bands.Hz {
		sd[r] = 0.04 + 2.5*math.Min(1, math.Pow(hz/5000, 4))
	}
	return sd
}
