package placing

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/seat"
)

// Scaled returns v times by.
func Scaled(v [3]float64, by float64) [3]float64 {
	for i := range v {
		v[i] *= by
	}
	return v
}

// A headset position is six numbers: the left ear's three axes, then the right
// ear's. The cups hang on one headband, so both ears share most of it.
const HeadsetDim = 6

// HeadsetCov builds the covariance of a headset position from the standard
// deviations of what the ears share and of what each has of its own.
func HeadsetCov(common, own [3]float64) *mat.SymDense {
	c := mat.NewSymDense(HeadsetDim, nil)
	for a := range 3 {
		v, w := common[a]*common[a], own[a]*own[a]
		c.SetSym(a, a, v+w)
		c.SetSym(3+a, 3+a, v+w)
		c.SetSym(a, 3+a, v)
	}
	return c
}

// Estimates turns a headset position into the two ears' and the headset's
// estimate; the headset's is the mean of both ears.
func Estimates(pos [HeadsetDim]float64, cov, prior mat.Symmetric) (ears [2]seat.Estimate, headset seat.Estimate) {
	for a := range 3 {
		headset.Value[a] = (pos[a] + pos[3+a]) / 2
		for b := range 3 {
			for e := range 2 {
				ears[e].Cov[a][b] = cov.At(3*e+a, 3*e+b)
				headset.Cov[a][b] += (cov.At(3*e+a, 3*e+b) + cov.At(3*e+a, 3*(1-e)+b)) / 4
			}
		}
		for e := range 2 {
			ears[e].Value[a] = pos[3*e+a]
		}
	}
	const seen = 0.5 // of the prior's variance left
	for a := range 3 {
		ph := (prior.At(a, a) + prior.At(3+a, 3+a) + 2*prior.At(a, 3+a)) / 4
		headset.Seen[a] = headset.Cov[a][a] < seen*ph
		for e := range 2 {
			ears[e].Seen[a] = ears[e].Cov[a][a] < seen*prior.At(3*e+a, 3*e+a)
		}
	}
	return ears, headset
}
