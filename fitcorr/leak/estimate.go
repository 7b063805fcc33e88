package leak

import (
	"math"
)

// Covariance is that of a leak's ln CornerHz and ln Damping, then of the
// unknowns of its Source.
type Covariance [2 + mostSourceTerms][2 + mostSourceTerms]float64

// Estimate is the leak of one curve.
type Estimate struct {
	Leaking bool
	Params  // zero corner when sealed
	Cov     Covariance
	GainDB  float64 // level offset against the mean of the curves
	// Evidence is the drop of χ² when the curve is allowed a leak of its own,
	// against a reference that the curve had no part in; P its tail probability, 0 to 1,
	// under two degrees of freedom.
	Evidence float64
	P        float64
	// square is the estimate of a small first-order leak's squared corner, and
	// its standard error, in Hz²: what a sealed seating may hide.
	square, squareSE float64
	Source           Source // what the leak meets; the zero value is the plain circuit
}

// ThreeDBHz returns the highest frequency in Hz at which the loss reaches
// 3.01 dB, 0 when it never does above 1 Hz.
func (e Estimate) ThreeDBHz() float64 {
	if !e.Leaking {
		return 0
	}
	if e.Source == (Source{}) {
		return e.Params.ThreeDBHz()
	}
	over := func(f float64) bool { return e.Source.LossDB(e.Params, f) >= 10*math.Log10(2) }
	const ratio = 1.02
	for f := 1000.0; f > 1; f /= ratio {
		if over(f) {
			lo, hi := f, f*ratio
			for range 20 {
				if mid := math.Sqrt(lo * hi); over(mid) {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
	}
	return 0
}

// LossDB returns the level lost at f Hz with its standard error, in dB. A
// sealed curve's loss is the best small first-order leak, never negative.
func (e Estimate) LossDB(f float64) (loss, stderr float64) {
	if !e.Leaking {
		q := math.Max(0, e.square)
		return 10 * math.Log10(1+q/(f*f)), 10 / math.Ln10 * e.squareSE / (f*f + q)
	}
	at, fall := e.Source.within(f)
	lv := e.Source.level(e.Params, at)
	slopes := append(lv.own[:], lv.bySource[:]...)
	v := 0.0
	for a, row := range e.Cov {
		for b, c := range row {
			v += slopes[a] * slopes[b] * c
		}
	}
	return -fall * lv.level, fall * math.Sqrt(math.Max(0, v))
}

// CornerSE returns the standard error of CornerHz in Hz.
func (e Estimate) CornerSE() float64 { return e.CornerHz * math.Sqrt(e.Cov[0][0]) }

// Result is the joint fit of the seatings of one ear.
type Result struct {
	FreqHz  []float64
	Sealed  []float64 // level of the sealed cup, dB, at the mean gain
	Curves  []Estimate
	Scatter Scatter
	// Source is what the leaks meet, with a cone where the data ask for one.
	Source Source
	// Reference is the leak that the reference seatings have in common, zero
	// when the data do not show one.
	Reference Params
}

// FallDB returns by how much the reference seatings' common level falls from
// 150 Hz to 25 Hz, each a mean over an octave, in dB.
func (r *Result) FallDB() float64 {
	around := func(hz float64) float64 {
		sum, n := 0.0, 0.0
		for k, f := range r.FreqHz {
			if math.Abs(math.Log2(f/hz)) <= 0.5 {
				sum += r.Sealed[k] - r.ReferenceLossDB(f)
				n++
			}
		}
		return sum / n
	}
	return around(150) - around(25)
}

// ReferenceLossDB returns what the reference seatings lose in common at f Hz,
// in dB; 0 when the data do not show it.
func (r *Result) ReferenceLossDB(f float64) float64 {
	return r.Source.LossDB(r.Reference, f)
}
