package seal

import (
	"math"

	"asworn/fitcorr/leak"
	"asworn/fitcorr/stats"
)

// LossHz are the frequencies of Leak.LossDB.
var LossHz = [3]float64{20, 50, 100}

// sealedLossDB is the loss at 20 Hz up to which a seating is called sealed,
// however well it can be measured.
const sealedLossDB = 0.5

// circuitSD is the relative standard uncertainty of a corner from what the circuit
// idealises (one slit, even pressure in the cup): invented cups of other physics
// came out 2 to 10 % low while their loss was right (docs/developing/leak.md).
const circuitSD = 0.05

func leakOf(e leak.Estimate, open bool) Leak {
	l := Leak{Class: Sealed, GainDB: e.GainDB}
	for k, f := range LossHz {
		l.LossDB[k], l.LossSE[k] = e.LossDB(f)
	}
	if e.Leaking {
		l.CornerHz, l.Damping, l.ThreeDBHz = e.CornerHz, e.Damping, e.ThreeDBHz()
		l.CornerSE, l.Source = math.Hypot(e.CornerSE(), circuitSD*e.CornerHz), e.Source
		if l.LossDB[0] > sealedLossDB {
			l.Class = Leaking
		}
	}
	if open {
		l.Class = Open
	}
	return l
}

// LossAt returns the level lost at f Hz with its standard error, in dB: from
// the fitted circuit, or without one from what the seating may hide at 20 Hz.
// The error is that at 20, 50 and 100 Hz, interpolated in log frequency and
// falling as 1/f above. An open model loses nothing to a seal.
func (l Leak) LossAt(f float64) (loss, stderr float64) {
	switch {
	case l.Class == Open || l.Class == "":
		return 0, 0
	case l.CornerHz > 0:
		loss = l.Source.LossDB(leak.Params{CornerHz: l.CornerHz, Damping: l.Damping}, f)
	default: // 10 lg(1 + q/f²) dB
		q := (math.Pow(10, l.LossDB[0]/10) - 1) * LossHz[0] * LossHz[0]
		loss = 10 * math.Log10(1+q/(f*f))
	}
	last := len(LossHz) - 1
	switch {
	case f <= LossHz[0]:
		return loss, l.LossSE[0]
	case f >= LossHz[last]:
		return loss, l.LossSE[last] * LossHz[last] / f
	}
	k := 0
	for f > LossHz[k+1] {
		k++
	}
	t := math.Log(f/LossHz[k]) / math.Log(LossHz[k+1]/LossHz[k])
	return loss, l.LossSE[k] + t*(l.LossSE[k+1]-l.LossSE[k])
}

// Class is what a cup's seal is like; empty when it was not judged.
type Class string

// The classes of a seal.
const (
	Sealed  Class = "sealed"
	Leaking Class = "leaking"
	Open    Class = "open" // open by design: no seal to judge
)

// Leak is the seal of one ear of one seating relative to the best-sealed
// reference of its model.
type Leak struct {
	Class    Class   `json:"class"`
	CornerHz float64 `json:"corner_hz,omitempty"`
	CornerSE float64 `json:"corner_stderr_hz,omitempty"` // standard error of CornerHz, Hz
	Damping  float64 `json:"damping,omitempty"`          // quality factor's inverse, 1/Q, a ratio
	// ThreeDBHz is the frequency below which more than 3 dB are lost.
	ThreeDBHz float64 `json:"three_db_hz,omitempty"`
	// LossDB is the level loss at 20, 50 and 100 Hz in dB (positive = lost) with standard errors.
	LossDB [3]float64 `json:"loss_db"`
	LossSE [3]float64 `json:"loss_stderr_db"`
	GainDB float64    `json:"gain_db"` // level offset told apart from the leak
	// Source is what drives the cup, zero for the plain circuit; with CornerHz
	// and Damping it gives the loss at any frequency.
	Source leak.Source `json:"source,omitzero"`
}

// LossHalf is half the interval of LossDB[i] at a confidence, dB.
func (l Leak) LossHalf(i int, confidence float64) float64 {
	return stats.Coverage(confidence, 0) * l.LossSE[i]
}

// CornerHalf is half the interval of CornerHz at a confidence, Hz.
func (l Leak) CornerHalf(confidence float64) float64 {
	return stats.Coverage(confidence, 0) * l.CornerSE
}

// MeanLoss is the mean level loss at 50 Hz over a subject's seatings with the
// least and the most, dB. ok is false when there is none or when a model is open.
func MeanLoss(leaks []Leak) (mean, least, most float64, ok bool) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, l := range leaks {
		if l.Class == Open {
			return 0, 0, 0, false
		}
		x := l.LossDB[1]
		mean += x / float64(len(leaks))
		least, most = min(least, x), max(most, x)
	}
	return mean, least, most, len(leaks) > 0
}
