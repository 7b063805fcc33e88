package placing

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/seat"
)

// HeadsetDim is the length of a headset position: the left cup's three axes (mm, mm,
// degrees), then the right cup's. The cups hang on one headband, so most of it is common
// to both.
const HeadsetDim = 6

// HeadsetCov builds the covariance of a headset position, HeadsetDim square, from the
// standard deviations (mm, mm, degrees) of what is common to both cups and of what each
// has of its own. Axes are independent.
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

// Estimates turns a headset position (mm, mm, degrees, twice) with its covariance into the
// two ears' and the headset's estimate; the headset's is the mean of both cups. An axis
// counts as seen where less than half of the prior's variance is left. Both covariances
// are HeadsetDim square.
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
