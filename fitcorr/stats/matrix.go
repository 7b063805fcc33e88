package stats

import (
	"errors"

	"gonum.org/v1/gonum/mat"
)

// Symmetric3 is c as a matrix, by its upper triangle. It is 3 × 3.
func Symmetric3(c [3][3]float64) *mat.SymDense {
	s := mat.NewSymDense(3, nil)
	for a := range 3 {
		for b := a; b < 3; b++ {
			s.SetSym(a, b, c[a][b])
		}
	}
	return s
}

// Inverse3 returns the inverse of a symmetric 3 × 3 matrix, by its upper triangle, and its
// determinant, which must not be 0 (Cramer's rule).
func Inverse3(c [3][3]float64) (inv [3][3]float64, det float64) {
	xx := c[1][1]*c[2][2] - c[1][2]*c[1][2]
	xy := c[0][2]*c[1][2] - c[0][1]*c[2][2]
	xz := c[0][1]*c[1][2] - c[0][2]*c[1][1]
	det = c[0][0]*xx + c[0][1]*xy + c[0][2]*xz
	yz := (c[0][1]*c[0][2] - c[0][0]*c[1][2]) / det
	return [3][3]float64{
		{xx / det, xy / det, xz / det},
		{xy / det, (c[0][0]*c[2][2] - c[0][2]*c[0][2]) / det, yz},
		{xz / det, yz, (c[0][0]*c[1][1] - c[0][1]*c[0][1]) / det},
	}, det
}

// Scaled3 returns v times by.
func Scaled3(v [3]float64, by float64) [3]float64 {
	for i := range v {
		v[i] *= by
	}
	return v
}

// Symmetric is the symmetric part of a square d, (d + d')/2. It is a copy.
func Symmetric(d *mat.Dense) *mat.SymDense {
	n, _ := d.Dims()
	data := make([]float64, n*n)
	for i := range n {
		from, to := d.RawRowView(i)[i:], data[i*n+i:(i+1)*n]
		other := d.RawMatrix().Data[i*d.RawMatrix().Stride+i:]
		for j, v := range from {
			to[j] = (v + other[j*d.RawMatrix().Stride]) / 2
		}
	}
	return mat.NewSymDense(n, data)
}

// QuadForm is x'mx of a square m given by rows; zero rows give 0.
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

// RowsOf copies m into rows, the form that is written to files. Nothing is shared with m.
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

// AddSym adds v to element (i, j) of m, and so to (j, i).
func AddSym(m *mat.SymDense, i, j int, v float64) {
	m.SetSym(i, j, m.At(i, j)+v)
}

// ErrSingular reports that the data do not determine what was asked: a matrix of the
// panel's or a survey's equations has no inverse.
var ErrSingular = errors.New("the panel's equations are singular")

// DotRows is the inner product of rows i and j of m: element (i, j) of mm'. floats.Dot adds
// up in another order, by which the last digit of three results in four would change.
func DotRows(m *mat.Dense, i, j int) float64 {
	a, b := m.RawRowView(i), m.RawRowView(j)
	var s float64
	for k, v := range a {
		s += v * b[k]
	}
	return s
}

// RowsOfDense is the view of so many rows of m. It is count × cols, and writes to it go
// to m.
func RowsOfDense(m *mat.Dense, from, count int) *mat.Dense {
	_, cols := m.Dims()
	return m.Slice(from, from+count, 0, cols).(*mat.Dense)
}

// Diagonal returns the diagonal of m, one value per row.
func Diagonal(m mat.Symmetric) []float64 {
	out := make([]float64, m.SymmetricDim())
	for i := range out {
		out[i] = m.At(i, i)
	}
	return out
}
