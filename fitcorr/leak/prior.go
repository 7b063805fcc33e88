package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Prior knowledge, wide on purpose: it steadies what one curve cannot say
// (a heavily damped leak shows only f₀·Q) and yields to any real data.
const (
	gainSD = 10.0 // dB, of a seating's level

	priorCornerHz = 60.0
	priorCornerSD = 1.5 // nepers

	// R/M = 10η/(ρh²) of a slit depends on its height alone; 0.3 mm within a
	// factor of 2.2 either way (one standard deviation, ln h ± 0.8).
	priorHeight   = 3e-4
	priorHeightSD = 0.8
)

// priorRate is R/M of the prior slit over 2π, in Hz: the prior of f₀/Q.
var priorRate = 10 * airViscosity / (airDensity * priorHeight * priorHeight) / (2 * math.Pi)

// priorTerms returns the residuals (prior − value, in standard deviations) of
// a leak and the matching rows of the derivative by ln f₀ and ln damping.
func priorTerms(p Params) (res [2]float64, rows [2][2]float64) {
	lf, ld := math.Log(p.CornerHz), math.Log(p.Damping)
	const heightSD = 2 * priorHeightSD
	res[0] = (math.Log(priorCornerHz) - lf) / priorCornerSD
	rows[0] = [2]float64{1 / priorCornerSD, 0}
	res[1] = (math.Log(priorRate) - lf - ld) / heightSD
	rows[1] = [2]float64{1 / heightSD, 1 / heightSD}
	return res, rows
}

func addPrior(a *mat.SymDense, b *mat.VecDense, at int, res [2]float64, rows [2][2]float64) {
	for t := range rows {
		for u := range 2 {
			b.SetVec(at+u, b.AtVec(at+u)+rows[t][u]*res[t])
			for v := u; v < 2; v++ {
				a.SetSym(at+u, at+v, a.At(at+u, at+v)+rows[t][u]*rows[t][v])
			}
		}
	}
}

// move changes a leak by steps in ln f₀ and ln damping, kept within what a
// double can hold and a leak can be.
func move(p Params, dCorner, dDamping float64) Params {
	clamp := func(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
	return Params{
		CornerHz: clamp(p.CornerHz*math.Exp(clamp(dCorner, -1, 1)), 0.1, 5000),
		Damping:  clamp(p.Damping*math.Exp(clamp(dDamping, -1, 1)), 0.01, 1000),
	}
}
