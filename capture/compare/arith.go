package compare

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/capture/samples"
)

// Third octaves, from the first to the last, whose shape is compared: a leak acts below.
const shapeFromHz, shapeToHz = 200, 12500

// thirds returns the third-octave bands from lo to hi.
func thirds(lo, hi float64) (out []int) {
	for i, b := range band.AllThirds() {
		if b.Mid >= lo*0.99 && b.Mid <= hi*1.01 {
			out = append(out, i)
		}
	}
	return out
}

func every(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// over returns the finite values of x at some places.
func over(x []float64, at []int) (out []float64) {
	for _, i := range at {
		if !math.IsNaN(x[i]) {
			out = append(out, x[i])
		}
	}
	return out
}

// mean is NaN of nothing.
func mean(x []float64) float64 { return samples.Sum(x) / float64(len(x)) }

// weighed is C⁻¹·x, of NaN where C is next to singular.
func weighed(c *mat.Cholesky, x *mat.VecDense) *mat.VecDense {
	s := mat.NewVecDense(x.Len(), nil)
	if c.SolveVecTo(s, x) != nil {
		for i := range s.Len() {
			s.SetVec(i, math.NaN())
		}
	}
	return s
}

// squares are xᵀ·C⁻¹·x of the columns of x, which are overwritten; NaN where C is next to singular.
func squares(c *mat.Cholesky, x *mat.Dense) []float64 {
	rows, cols := x.Dims()
	blas64.Trsm(blas.Left, blas.Trans, 1, c.RawU().(mat.RawTriangular).RawTriangular(), x.RawMatrix())
	out := make([]float64, cols)
	for i := range rows {
		for k, v := range x.RawRowView(i) {
			out[k] += v * v
		}
	}
	if c.Cond() > mat.ConditionTolerance {
		floats.AddConst(math.NaN(), out)
	}
	return out
}

// quadratic is xᵀ·C⁻¹·x, which is |U'⁻¹x|² of C = U'U; NaN where C is next to singular.
func quadratic(c *mat.Cholesky, x *mat.VecDense) float64 {
	if c.Cond() > mat.ConditionTolerance {
		return math.NaN()
	}
	var white mat.VecDense
	white.CloneFromVec(x)
	blas64.Trsv(blas.Trans, c.RawU().(mat.RawTriangular).RawTriangular(), white.RawVector())
	return mat.Dot(&white, &white)
}
