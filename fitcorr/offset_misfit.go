package fitcorr

import "gonum.org/v1/gonum/stat/distuv"

// chiTail is the tail probability of a χ² value.
func chiTail(chi2, dof float64) float64 {
	if dof <= 0 {
		return 1
	}
	return distuv.ChiSquared{K: dof}.Survival(chi2)
}

// residualTail is the tail probability of what is left of one ear of a worn
// seating after ear, position, level and leak tail.
func residualTail(resid []float64, w *wornSeating, e, n int) float64 {
	return chiTail(squaredResidual(resid, w, e, n)*w.doubtOf(e), residualFreedom(w, e))
}

// residualFreedom is the degrees of freedom of that residual: the bands that
// count less three of position and two of level.
func residualFreedom(w *wornSeating, e int) float64 {
	dof := -5.0
	for _, v := range w.obs.variance[e] {
		if v < missingVar {
			dof++
		}
	}
	return dof
}
