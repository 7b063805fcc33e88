package stats

import (
	"errors"

	"gonum.org/v1/gonum/mat"
)

func Symmetric3(c [3][3]float64) *mat.SymDense {
	s := mat.NewSymDense(3, nil)
	for a := range 3 {
		for b := a; b < 3; b++ {
			s.SetSym(a, b, c[a][b])
		}
	}
	return s
}

func Symmetric(d *mat.Dense) *mat.SymDense {
	n, _ := d.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (d.At(i, j)+d.At(j, i))/2)
		}
	}
	return s
}

func QuadForm(m [][]float64, x []float64) float64 {
	var sum float64
	for i, row := range m {
		var t float64
		for j, v := range row {
			t += v * x[j]
		}
		sum += x[i] * t
	}
	return sum
}

func RowsOf(m mat.Matrix) [][]float64 {
	r, c := m.Dims()
	out := make([][]float64, r)
	for i := range out {
		out[i] = make([]float64, c)
		for j := range out[i] {
			out[i][j] = m.At(i, j)
		}
	}
	return out
}

func Beside(a, b *mat.Dense) *mat.Dense {
	n, ca := a.Dims()
	_, cb := b.Dims()
	out := mat.NewDense(n, ca+cb, nil)
	out.Slice(0, n, 0, ca).(*mat.Dense).Copy(a)
	out.Slice(0, n, ca, ca+cb).(*mat.Dense).Copy(b)
	return out
}

func AddSym(m *mat.SymDense, i, j int, v float64) {
	m.SetSym(i, j, m.At(i, j)+v)
}

var ErrSingular = errors.New("the panel's equations are singular")

func DotRows(m *mat.Dense, i, j int) float64 {
	a, b := m.RawRowView(i), m.RawRowView(j)
	var s float64
	for k, v := range a {
		s += v * b[k]
	}
	return s
}
