package stats

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// ShrinkWeight is Ledoit and Wolf's weight of a structured target against the
// covariance XX'/N of N draws about zero (J. Multivariate Anal. 88, 2004: what
// the sample's covariance errs by, over what it differs from the target by;
// there for a multiple of the unit matrix). x holds one draw per row. each is
// how many rows count as one independent draw: what a listener's ears do under
// several models is alike. A target that differs from the sample by less than
// the sample errs has the weight 1.
func ShrinkWeight(x *mat.Dense, target mat.Symmetric, each float64) float64 {
	n, p := x.Dims()
	if n == 0 {
		return 1
	}
	var s mat.Dense
	s.Mul(x.T(), x)
	s.Scale(1/float64(n), &s)
	var off, square float64
	for i := range p {
		for j := range p {
			d := s.At(i, j) - target.At(i, j)
			off += d * d
			square += s.At(i, j) * s.At(i, j)
		}
	}
	// Σ|xx' − S|² = Σ|x|⁴ − N|S|².
	var fourth float64
	for i := range n {
		var v float64
		for _, a := range x.RawRowView(i) {
			v += a * a
		}
		fourth += v * v
	}
	wrong := each * (fourth/float64(n) - square) / float64(n)
	if wrong >= off {
		return 1
	}
	return math.Max(0, wrong/off)
}
