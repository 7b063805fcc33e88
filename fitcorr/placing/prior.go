package placing

import (
	"gonum.org/v1/gonum/mat"
)

// Prior is a normal prior of a headset position.
type Prior struct {
	Mean [HeadsetDim]float64 // mm, mm, degrees, twice
	Cov  *mat.SymDense       // HeadsetDim square, mm and degrees
}

// Standard deviations of what a seating has besides its position, dB: the gain of the
// microphone, and what a leak leaves at 300 Hz above the leak's own range (our choice, no
// source).
const (
	GainSD     = 5.0
	leakTailSD = 0.5
)

// Standard deviations of a seating on the fixture: of what both cups have in common and
// of each cup's own, mm, mm, degrees.
var (
	priorSeating    = [3]float64{8, 8, 8}
	priorSeatingOwn = [3]float64{3, 3, 2}
)

// FixturePrior is that of any seating on the fixture, about the marked position. It is wide enough not to matter where the survey sees: a seating
// is a few millimetres off, and a headband turned about the vertical moves one
// cup forward and the other back by as much: with 2 mm of each cup's own, cups
// 6 mm off in opposite directions were told nearer than they were.
func FixturePrior() Prior {
	return Prior{Cov: HeadsetCov(priorSeating, priorSeatingOwn)}
}

// Standard deviations of a worn mean before anything is known.
const (
	priorMeanMM = 3.0 // about the marked position, per axis
	// priorMeanOwnMM is of one ear against the headset: the mean over people, whose own
	// left-right differences average out, against the stops of a mark on both sides (our
	// choice, no source).
	priorMeanOwnMM = 0.5
)

// WornPrior is the prior covariance of a worn mean, HeadsetDim square, mm² and degrees²,
// about the marked position.
func WornPrior() *mat.SymDense {
	return HeadsetCov([3]float64{priorMeanMM, priorMeanMM, priorMeanMM}, [3]float64{priorMeanOwnMM, priorMeanOwnMM, priorMeanOwnMM})
}
