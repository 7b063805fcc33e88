package stats

import (
	"sync"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// The tiles of a product.
const (
	tileRows    = 4
	tileColumns = 8
)

// Multiply sets dst to a·b, with which it must not overlap. dst is rows × columns, a is
// rows × n, b is n × columns. The bits are those of mat.Dense.Mul, which adds up in the
// same order and takes several times as long where both have more than a few rows and columns.
func Multiply(dst, a, b *mat.Dense) {
	x, y, z := a.RawMatrix(), b.RawMatrix(), dst.RawMatrix()
	if !tiled || x.Rows < tileRows || y.Cols < tileColumns || x.Cols == 0 {
		dst.Mul(a, b)
		return
	}
	if x.Cols != y.Rows || z.Rows != x.Rows || z.Cols != y.Cols {
		panic(mat.ErrShape)
	}
	for i := 0; i < x.Rows; i += tileRows {
		i := min(i, x.Rows-tileRows) // the last ones overlap, with the same values
		for j := 0; j < y.Cols; j += tileColumns {
			j := min(j, y.Cols-tileColumns)
			tile(x.Cols, &x.Data[i*x.Stride], x.Stride, &y.Data[j], y.Stride, &z.Data[i*z.Stride+j], z.Stride)
		}
	}
}

// Product returns a·b, of Multiply.
func Product(a, b *mat.Dense) *mat.Dense {
	rows, _ := a.Dims()
	_, columns := b.Dims()
	out := mat.NewDense(rows, columns, nil)
	Multiply(out, a, b)
	return out
}

// AddOuter adds scale·yy' to c. y has as many rows as c, and any number of columns.
func AddOuter(c *mat.SymDense, scale float64, y *mat.Dense) {
	raw := c.RawSymmetric()
	turned := turnedInSpace(y)
	addUpper(raw.Data, raw.Stride, scale, y, turned, false)
	giveSpace(turned)
}

// AddProduct adds scale·a·b to c, where that product is symmetric, with c's size.
func AddProduct(c *mat.SymDense, scale float64, a, b *mat.Dense) {
	raw := c.RawSymmetric()
	addUpper(raw.Data, raw.Stride, scale, a, b, false)
}

// AddLower adds l'·m, which is symmetric, of a lower triangular l to c. All are n × n.
func AddLower(c *mat.SymDense, l, m *mat.Dense) {
	raw := c.RawSymmetric()
	turned := turnedInSpace(l)
	addUpper(raw.Data, raw.Stride, 1, turned, m, true)
	giveSpace(turned)
}

// MultiplyLower sets dst to m·l of a lower triangular l, n × n. dst and m are rows × n.
func MultiplyLower(dst, m, l *mat.Dense) {
	const step = 64
	rows, n := m.Dims()
	for from := 0; from < n; from += step {
		to := min(from+step, n)
		Multiply(dst.Slice(0, rows, from, to).(*mat.Dense), m.Slice(0, rows, from, n).(*mat.Dense), l.Slice(from, n, from, to).(*mat.Dense))
	}
}

// Mirror sets what lies below the diagonal of c, n × n, to what lies above it, in squares as transpose.
func Mirror(c *mat.Dense) {
	const side = 8
	raw := c.RawMatrix()
	for top := 0; top < raw.Rows; top += side {
		for left := 0; left <= top; left += side {
			for i := top; i < min(top+side, raw.Rows); i++ {
				row := raw.Data[i*raw.Stride:]
				for j := left; j < min(left+side, i); j++ {
					row[j] = raw.Data[j*raw.Stride+i]
				}
			}
		}
	}
}

// spaces are the work space of products that are done with.
var spaces = sync.Pool{New: func() any { return new(mat.Dense) }}

// takeSpace returns rows × cols of memory of any content, to be given back by giveSpace.
func takeSpace(rows, cols int) *mat.Dense {
	m := spaces.Get().(*mat.Dense)
	data := m.RawMatrix().Data
	if cap(data) < rows*cols {
		data = make([]float64, rows*cols)
	}
	m.SetRawMatrix(blas64.General{Rows: rows, Cols: cols, Stride: cols, Data: data[:rows*cols]})
	return m
}

func giveSpace(m *mat.Dense) { spaces.Put(m) }

// turnedInSpace returns m' in memory of takeSpace.
func turnedInSpace(m *mat.Dense) *mat.Dense {
	rows, cols := m.Dims()
	out := takeSpace(cols, rows)
	transpose(out, m)
	return out
}

// Transposed returns a copy of m'.
func Transposed(m *mat.Dense) *mat.Dense {
	rows, cols := m.Dims()
	out := mat.NewDense(cols, rows, nil)
	transpose(out, m)
	return out
}

// transpose sets dst to m', with which it must not overlap, in squares of which both
// sides stay in fast memory.
func transpose(dst, m *mat.Dense) {
	const side = 8
	from, to := m.RawMatrix(), dst.RawMatrix()
	for top := 0; top < from.Rows; top += side {
		bottom := min(top+side, from.Rows)
		for left := 0; left < from.Cols; left += side {
			for j := left; j < min(left+side, from.Cols); j++ {
				row := to.Data[j*to.Stride+top : j*to.Stride+bottom]
				for i := range row {
					row[i] = from.Data[(top+i)*from.Stride+j]
				}
			}
		}
	}
}

// addUpper adds scale times the product a·b, which is symmetric, to a matrix on its diagonal
// and above. triangle says that a is upper triangular.
func addUpper(data []float64, stride int, scale float64, a, b *mat.Dense, triangle bool) {
	const step = 64
	n, inner := a.Dims()
	product, first := takeSpace(min(n, step), n), 0
	defer giveSpace(product)
	for from := 0; from < n; from += step {
		to := min(from+step, n)
		if triangle {
			first = from
		}
		part := product.Slice(0, to-from, from, n).(*mat.Dense)
		Multiply(part, a.Slice(from, to, first, inner).(*mat.Dense), b.Slice(first, inner, from, n).(*mat.Dense))
		for i := from; i < to; i++ {
			floats.AddScaled(data[i*stride+i:i*stride+n], scale, part.RawRowView(i - from)[i-from:])
		}
	}
}
