package fitcorr

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

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
	block := mat.NewSymDense(n, nil)
	dof := -5.0
	for i := range n {
		for j := i; j < n; j++ {
			block.SetSym(i, j, w.inner.At(e*n+i, e*n+j))
		}
		if w.obs.variance[e][i] < missingVar {
			dof++
		}
	}
	r := mat.NewVecDense(n, resid)
	return chiTail(mat.Inner(r, block, r), dof)
}
