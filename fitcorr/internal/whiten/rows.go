// Package whiten turns a few curves into ones of unit covariance.
package whiten

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Rows overwrites each row y of x by U'⁻¹y, of the factor U of a covariance U'U, and returns
// log|U'U|. For a few rows it is quicker than BLAS, which goes by columns of as few; the diagonal is
// multiplied, as far as a number holds, since a logarithm takes longer.
func Rows(u blas64.Triangular, x *mat.Dense) (logDet float64) {
	rows, n := x.Dims()
	det := 1.0
	for k := range n {
		own := u.Data[k*u.Stride+k : k*u.Stride+n]
		for p := range rows {
			y := x.RawRowView(p)[k:]
			y[0] /= own[0]
			floats.AddScaled(y[1:], -y[0], own[1:])
		}
		if det *= own[0]; det < 1e-100 || det > 1e100 {
			logDet, det = logDet+2*math.Log(det), 1
		}
	}
	return logDet + 2*math.Log(det)
}
