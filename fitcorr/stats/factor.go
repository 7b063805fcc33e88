package stats

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// factor is U, n × n, of a covariance U'U. It calls LAPACK and BLAS itself, since
// mat.Cholesky spends half its time on a condition number that nobody asks for.
type factor blas64.Triangular

// Factorize returns the Cholesky factor of a covariance, n × n, and overwrites it; false
// where it is not positive definite.
func Factorize(c *mat.SymDense) (factor, bool) {
	u, ok := lapack64.Potrf(c.RawSymmetric())
	return factor(u), ok
}

// Whiten overwrites x by U'⁻¹x, whose columns then have the unit covariance.
func (f factor) Whiten(x *mat.Dense) {
	raw := x.RawMatrix()
	if raw.Cols > narrow {
		blas64.Trsm(blas.Left, blas.Trans, 1, blas64.Triangular(f), raw)
		return
	}
	// BLAS goes by rows of x, which are too short to go by: column by column, same bits.
	column := make([]float64, f.N)
	for c := range raw.Cols {
		mat.Col(column, c, x)
		for k := range column {
			u := f.Data[k*f.Stride+k : k*f.Stride+f.N]
			column[k] *= 1 / u[0]
			floats.AddScaled(column[k+1:], -column[k], u[1:])
		}
		x.SetCol(c, column)
	}
}

// narrow is how many columns are few to Whiten.
const narrow = 8

// Solve overwrites x by (U'U)⁻¹x.
func (f factor) Solve(x *mat.Dense) {
	lapack64.Potrs(blas64.Triangular(f), x.RawMatrix())
}

// Inverse returns (U'U)⁻¹ in the place of U.
func (f factor) Inverse() *mat.SymDense {
	lapack64.Potri(blas64.Triangular(f)) // U has no zero on its diagonal
	var inv mat.SymDense
	inv.SetRawSymmetric(blas64.Symmetric{Uplo: f.Uplo, N: f.N, Data: f.Data, Stride: f.Stride})
	return &inv
}

// Lower returns U', n × n with zeros above its diagonal. It is a copy.
func (f factor) Lower() *mat.Dense {
	out := mat.NewDense(f.N, f.N, nil)
	for i := range f.N {
		for j := i; j < f.N; j++ {
			out.Set(j, i, f.Data[i*f.Stride+j])
		}
	}
	return out
}

// LogDet returns log|U'U|.
func (f factor) LogDet() float64 {
	var sum float64
	for i := range f.N {
		sum += math.Log(f.Data[i*f.Stride+i])
	}
	return 2 * sum
}
