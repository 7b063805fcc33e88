package leak

import (
	"errors"

	"gonum.org/v1/gonum/mat"
)

var errSingular = errors.New("leak: the seatings do not determine the sealed curve (too few valid low bands)")

func symmetric(m *mat.Dense) *mat.SymDense {
	n, _ := m.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			s.SetSym(i, k, (m.At(i, k)+m.At(k, i))/2)
		}
	}
	return s
}

func invert(dst *mat.SymDense, m mat.Symmetric) error {
	var c mat.Cholesky
	if !c.Factorize(m) {
		return errSingular
	}
	return c.InverseTo(dst)
}

func solve(dst *mat.VecDense, m mat.Symmetric, b *mat.VecDense) error {
	var c mat.Cholesky
	if !c.Factorize(m) {
		return errSingular
	}
	return c.SolveVecTo(dst, b)
}
