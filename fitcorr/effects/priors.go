package effects

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// How ears differ from the fixture's, per position band.
const (
	earSizeWeight    = 1.0  // draws: weight of the prior standard deviation per band
	earCorrWeight    = 2.0  // draws: weight of the prior correlation between blocks
	EarCorrOctaves   = 0.3  // of the smooth correlation over frequency, exponential: the width of a pinna's resonance
	earCorrMost      = 0.95 // largest correlation between blocks, so that no block determines another
	earDifference    = 0.4  // variance of (left − right)/√2 over that of (left + right)/√2: a head's ears resemble each other
	priorModelCorr   = 0.7  // correlation of one band between two models: the same pinna, loaded differently
	priorBareCorr    = 0.4  // correlation of one band between a model and the bare ear
	priorPlaceCorr   = 0.6  // correlation of one band of the bare ear between two places of the loudspeaker (our choice, no source)
	earFloorDB       = 0.08 // the least by which ears differ in a band
	fixtureEarWeight = 6.0  // weight, in determined directions of ear difference, of the fixture's ear varying as a person's
)

// ConfoundedOwn is the variance of a model's own part of what looks like a
// movement, in terms of the part that the models share. Nothing in a study
// determines it, since a listener's own position in a model looks the same.
const ConfoundedOwn = 0.4

// PriorEars is the prior covariance of (left + right)/√2 and of (left − right)/√2
// of ears (dB², width·n square each).
func (law Law) PriorEars() [2]*mat.SymDense {
	return [2]*mat.SymDense{law.priorEars(1), law.priorEars(earDifference)}
}

// priorEars is the prior covariance (dB², width·n square) over the channels of
// one ear: little below 2 kHz, several dB where the pinna's own resonances lie.
func (law Law) priorEars(scale float64) *mat.SymDense {
	n := law.Bands.N
	c := mat.NewSymDense(law.Width()*n, nil)
	sd := priorEarSD(law.Bands)
	one := mat.NewDense(n, n, nil) // of each channel
	for i := range n {
		for j := range n {
			one.Set(i, j, scale*sd[i]*sd[j]*math.Exp(-law.Bands.Octaves(i, j)/EarCorrOctaves))
		}
	}
	for i := range law.Width() * n {
		for j := i; j < law.Width()*n; j++ {
			k, l := i/n, j/n
			v := one.At(i%n, j%n)
			switch {
			case k == l:
			case k >= law.Models:
				v *= priorPlaceCorr
			case l >= law.Models:
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
