package stats

import "gonum.org/v1/gonum/mat"

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
