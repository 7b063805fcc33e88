package leak

import (
	"errors"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

var errSingular = errors.New("leak: the seatings do not determine the sealed curve (too few valid low bands)")

func invert(dst *mat.SymDense, m *mat.SymDense) error {
	factor, ok := stats.Factorize(copyOf(m))
	if !ok {
		return errSingular
	}
	*dst = *factor.Inverse()
	return nil
}

func solve(dst *mat.VecDense, m *mat.SymDense, b *mat.VecDense) error {
	factor, ok := stats.Factorize(copyOf(m))
	if !ok {
		return errSingular
	}
	dst.CloneFromVec(b)
	factor.Solve(mat.NewDense(dst.Len(), 1, dst.RawVector().Data))
	return nil
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
