package placing

import (
	"gonum.org/v1/gonum/mat"
)

// Prior is a normal prior of a headset position.
type Prior struct {
	Mean [HeadsetDim]float64
	Cov  *mat.SymDense // headsetDim
}

// FixturePrior is wide enough not to matter where the survey sees: a seating
// is a few millimetres off, and a headband turned about the vertical moves one
// cup forward and the other back by as much: with 2 mm of each cup's own, cups
// 6 mm off in opposite directions were told nearer than they were.
func FixturePrior() Prior {
	return Prior{Cov: HeadsetCov([3]float64{8, 8, 8}, [3]float64{3, 3, 2})}
}

// Standard deviations of a worn mean before anything is known.
const (
	priorMeanMM = 3.0 // about the marked position, per axis
	// priorMeanOwnMM is of one ear against the headset: the mean over people, whose own
	// left-right differences average out, against the stops of a mark on both sides (our
	// choice, no source).
	priorMeanOwnMM = 0.5
)

// WornPrior is the prior covariance of a worn mean.
func WornPrior() *mat.SymDense {
	return HeadsetCov([3]float64{priorMeanMM, priorMeanMM, priorMeanMM}, [3]float64{priorMeanOwnMM, priorMeanOwnMM, priorMeanOwnMM})
}
