package verdict

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// nearestListed is how many worn seatings are listed.
const nearestListed = 5

// nearest lists the worn seatings most like a fixture seating: the normal
// density of the difference of their positions under both uncertainties.
func nearest(pos [placing.HeadsetDim]float64, cov *mat.SymDense, worn []WornSeating) []Likeness {
	var out []Likeness
	logs := make([]float64, 0, len(worn))
	top := math.Inf(-1)
	for _, w := range worn {
		sum := mat.NewSymDense(placing.HeadsetDim, nil)
		diff := mat.NewVecDense(placing.HeadsetDim, nil)
		for i := range placing.HeadsetDim {
			diff.SetVec(i, pos[i]-w.Pos[i])
			for j := i; j < placing.HeadsetDim; j++ {
				sum.SetSym(i, j, cov.At(i, j)+w.Cov[i][j])
			}
			stats.AddSym(sum, i, i, 1e-6)
		}
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(sum) || chol.SolveVecTo(&x, diff) != nil {
			continue
		}
		l := -0.5*mat.Dot(diff, &x) - 0.5*chol.LogDet()
		logs = append(logs, l)
		top = math.Max(top, l)
		out = append(out, Likeness{ID: w.ID})
	}
	var sum float64
	for i := range out {
		out[i].Share = math.Exp(logs[i] - top)
		sum += out[i].Share
	}
	for i := range out {
		out[i].Share /= sum
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].Share > out[b].Share })
	return out[:min(nearestListed, len(out))]
}
