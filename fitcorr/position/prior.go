package position

import (
	"gonum.org/v1/gonum/mat"
)

// Prior is a normal prior of a headset position.
type Prior struct {
	mean [HeadsetDim]float64
	Cov  *mat.SymDense // headsetDim
}

// FixturePrior is wide enough not to matter where the survey sees: a seating
// is a few millimetres off and the headband hardly lets the cups differ.
func FixturePrior() Prior {
	return Prior{Cov: HeadsetCov([3]float64{8, 8, 8}, [3]float64{2, 2, 2})}
}

// Standard deviations of a worn mean before anything is known.
const (
	priorMeanMM    = 3.0 // about the marked position, per axis
	priorMeanOwnMM = 1.0 // of one ear against the headset
)

// WornPrior is the prior covariance of a worn mean.
func WornPrior() *mat.SymDense {
	return HeadsetCov([3]float64{priorMeanMM, priorMeanMM, priorMeanMM}, [3]float64{priorMeanOwnMM, priorMeanOwnMM, priorMeanOwnMM})
}
