package leak

import (
	"errors"

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

// times returns w·x. With the few columns that x has here it is several times
// as fast as mat.Dense.Mul, whose order of sums it keeps.
func times(w *mat.SymDense, x *mat.Dense) *mat.Dense {
	n, cols := x.Dims()
	out := mat.NewDense(n, cols, nil)
	raw, from := w.RawSymmetric(), x.RawMatrix()
	for i := range n {
		sum := out.RawRowView(i)
		add := func(v float64, k int) {
			row := from.Data[k*from.Stride:]
			row = row[:len(sum)]
			for c, b := range row {
				sum[c] += v * b
			}
		}
		row := raw.Data[i*raw.Stride : i*raw.Stride+n]
		add(row[i], i)
		for k, at := 0, i; k < i; k, at = k+1, at+raw.Stride {
			add(raw.Data[at], k)
		}
		for k := i + 1; k < n; k++ {
			add(row[k], k)
		}
	}
	return out
}
