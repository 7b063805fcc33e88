package leak

import (
	"errors"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

var errSingular = errors.New("leak: the seatings do not determine the sealed curve (too few valid low bands)")

// invert sets dst to the inverse of m, which is overwritten.
func invert(dst *mat.SymDense, m *mat.SymDense) error {
	factor, ok := stats.Factorize(m)
	if !ok {
		return errSingular
	}
	*dst = *factor.Inverse()
	return nil
}

// solve sets dst to m⁻¹b; m is overwritten.
func solve(dst *mat.VecDense, m *mat.SymDense, b *mat.VecDense) error {
	factor, ok := stats.Factorize(m)
	if !ok {
		return errSingular
	}
	dst.CloneFromVec(b)
	solveBy(blas64.Triangular(factor), dst)
	return nil
}

// solveBy overwrites b by (U'U)⁻¹b: for one column quicker than LAPACK, which goes by rows of columns.
func solveBy(u blas64.Triangular, b *mat.VecDense) {
	blas64.Trsv(blas.Trans, u, b.RawVector())
	blas64.Trsv(blas.NoTrans, u, b.RawVector())
}

func copyOf(m *mat.SymDense) *mat.SymDense {
	out := mat.NewSymDense(m.SymmetricDim(), nil)
	out.CopySym(m)
	return out
}

// square is r'wr of a symmetric w, by its upper triangle.
func square(w *mat.Dense, r []float64) float64 {
	sum := 0.0
	for k, v := range r {
		row := w.RawRowView(k)
		sum += v * (v*row[k] + 2*floats.Dot(row[k+1:], r[k+1:]))
	}
	return sum
}
