package stats

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// SymmetricRoot returns G = G' with GG = c. Both are n × n; eigenvalues below 0, which
// rounding makes, count as 0.
func SymmetricRoot(c *mat.SymDense) *mat.Dense {
	n := c.SymmetricDim()
	var eig mat.EigenSym
	if !eig.Factorize(c, true) {
		return mat.DenseCopyOf(c)
	}
	var vec, scaledVec, out mat.Dense
	eig.VectorsTo(&vec)
	scaledVec.CloneFrom(&vec)
	for j, v := range eig.Values(nil) {
		f := math.Sqrt(math.Max(v, 0))
		for i := range n {
			scaledVec.Set(i, j, scaledVec.At(i, j)*f)
		}
	}
	out.Mul(&scaledVec, vec.T())
	return &out
}

// CholeskyRoot returns a root of a positive definite matrix, or its eigenroot when
// rounding has made it indefinite. It is lower triangular, n × n; an eigenroot has the
// columns of EigenRoot.
func CholeskyRoot(c *mat.SymDense) *mat.Dense {
	if root, ok := LowerRoot(c); ok {
		return root
	}
	return EigenRoot(c, 1e-12)
}

// LowerRoot returns the lower triangular root of a covariance, n × n; false where it is not
// positive definite.
func LowerRoot(c *mat.SymDense) (*mat.Dense, bool) {
	n := c.SymmetricDim()
	space := takeSpace(n, n)
	defer giveSpace(space)
	whole := mat.NewSymDense(n, space.RawMatrix().Data)
	whole.CopySym(c)
	factor, ok := Factorize(whole)
	if !ok {
		return nil, false
	}
	return factor.Lower(), true
}

// EigenRoot returns L with LL' = c up to eigenvalues below cut times the largest, as
// columns. L is n × as many columns as eigenvalues are left, one at least, the largest
// last.
func EigenRoot(c mat.Symmetric, cut float64) *mat.Dense {
	var eig mat.EigenSym
	n := c.SymmetricDim()
	if !eig.Factorize(c, true) {
		return mat.NewDense(n, 1, nil)
	}
	val := eig.Values(nil)
	var vec mat.Dense
	eig.VectorsTo(&vec)
	first := 0
	for first < n-1 && val[first] < cut*val[n-1] {
		first++
	}
	out := mat.NewDense(n, n-first, nil)
	for k := first; k < n; k++ {
		s := math.Sqrt(math.Max(val[k], 0))
		for i := range n {
			out.Set(i, k-first, s*vec.At(i, k))
		}
	}
	return out
}
