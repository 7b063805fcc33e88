package stats

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// whole is up to how many rows Invert inverts at once.
const whole = 64

// Invert overwrites a covariance, n × n, by its inverse and returns log|c|; false where it
// is not positive definite. Both sides of the diagonal are read and set. A large one is
// inverted by halves (Schur's complement, Horn & Johnson, Matrix Analysis, 2nd ed. 2013,
// section 0.7.3), which are products: half the time of a factor's inverse.
func Invert(c *mat.Dense) (logDet float64, ok bool) {
	n, _ := c.Dims()
	if n <= whole {
		return invertWhole(c)
	}
	h := n / 2
	part := func(i, j, k, l int) *mat.Dense { return c.Slice(i, j, k, l).(*mat.Dense) }
	first, across, back, second := part(0, h, 0, h), part(0, h, h, n), part(h, n, 0, h), part(h, n, h, n)
	if logDet, ok = Invert(first); !ok {
		return 0, false
	}
	pull := takeSpace(h, n-h)
	defer giveSpace(pull)
	Multiply(pull, first, across)
	subtractUpper(second, back, pull)
	rest, ok := Invert(second)
	if !ok {
		return 0, false
	}
	Multiply(across, pull, second)
	across.Scale(-1, across)
	transpose(back, across)
	turned := turnedInSpace(pull)
	subtractUpper(first, across, turned)
	giveSpace(turned)
	return logDet + rest, true
}

// invertWhole is Invert at once.
func invertWhole(c *mat.Dense) (logDet float64, ok bool) {
	n, _ := c.Dims()
	raw := c.RawMatrix()
	u, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: n, Data: raw.Data, Stride: raw.Stride})
	if !ok {
		return 0, false
	}
	logDet = factor(u).LogDet()
	lapack64.Potri(u)
	Mirror(c)
	return logDet, true
}

// subtractUpper takes the product a·b, which is symmetric, from c, n × n.
func subtractUpper(c, a, b *mat.Dense) {
	raw := c.RawMatrix()
	addUpper(raw.Data, raw.Stride, -1, a, b, false)
	Mirror(c)
}
