package varcomp

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// denseCriterion writes the restricted likelihood out with full matrices.
func denseCriterion(y []float64, outer, inner []int, v [3]float64) float64 {
	n := len(y)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c := 0.0
			if outer[i] == outer[j] {
				c += v[0]
				if inner[i] == inner[j] {
					c += v[1]
				}
			}
			if i == j {
				c += v[2]
			}
			cov.SetSym(i, j, c)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return math.NaN()
	}
	one := mat.NewVecDense(n, nil)
	for i := range n {
		one.SetVec(i, 1)
	}
	var vi1, viy mat.VecDense
	yy := mat.NewVecDense(n, y)
	_ = chol.SolveVecTo(&vi1, one)
	_ = chol.SolveVecTo(&viy, yy)
	p := mat.Dot(one, &vi1)
	mu := mat.Dot(one, &viy) / p
	return chol.LogDet() + math.Log(p) + mat.Dot(yy, &viy) - mu*mu*p + float64(n-1)*math.Log(2*math.Pi)
}
