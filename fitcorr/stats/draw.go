package stats

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// Root3 returns a matrix R with RRᵀ = cov. Eigenvalues below 0, which rounding makes,
// count as 0; a covariance without eigenvalues gives zeros.
func Root3(cov [3][3]float64) (root [3][3]float64) {
	c := Symmetric3(cov)
	var eig mat.EigenSym
	if !eig.Factorize(c, true) {
		return root
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	for k, v := range eig.Values(nil) {
		for a := range 3 {
			root[a][k] = vec.At(a, k) * math.Sqrt(math.Max(v, 0))
		}
	}
	return root
}

// NormalDraw returns a draw from the normal distribution with the given mean and root of
// the covariance. It takes three draws from rng.
func NormalDraw(rng *rand.Rand, mean [3]float64, root [3][3]float64) [3]float64 {
	for k := range 3 {
		z := rng.NormFloat64()
		for a := range 3 {
			mean[a] += root[a][k] * z
		}
	}
	return mean
}
