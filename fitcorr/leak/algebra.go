package leak

import (
	"errors"

	"gonum.org/v1/gonum/mat"
)

var errSingular = errors.New("leak: the seatings do not determine the sealed curve (too few valid low bands)")

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

// times returns w·x. With the few columns that x has here it is several times
// as fast as mat.Dense.Mul, whose order of sums it keeps.
func times(w *mat.SymDense, x *mat.Dense) *mat.Dense {
	n, cols := x.Dims()
	out := mat.NewDense(n, cols, nil)
	raw := w.RawSymmetric()
	for i := range n {
		sum := out.RawRowView(i)
		add := func(v float64, k int) {
			for c, b := range x.RawRowView(k)[:len(sum)] {
				sum[c] += v * b
			}
		}
		add(raw.Data[i*raw.Stride+i], i)
		for k := range i {
			add(raw.Data[k*raw.Stride+i], k)
		}
		for k := i + 1; k < n; k++ {
			add(raw.Data[i*raw.Stride+k], k)
		}
	}
	return out
}
