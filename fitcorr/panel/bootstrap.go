package panel

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// bootstrapDefault is the number of draws when Options.Bootstrap is 0.
const bootstrapDefault = 1000

// bootstrapMean holds the stated standard error of the worn mean of one model
// against the listeners themselves: how much the mean of the people moves when
// the panel is drawn again from its own listeners (Efron and Tibshirani, An
// Introduction to the Bootstrap, 1993, ch. 6), and what the model states for
// the same. The fixture's ear and the prior stay as they are, so this is a part
// of the interval only; it would show a panel that scatters more than its
// covariances say.
//
// Each draw is one Newton step from the estimate, whose equations are linear
// in what a listener says: Δθ = Cov(θ)·Σ (w_s − 1)(b_s − M_s θ). Variances are
// multiplied by n/(n − 1), since a sample scatters about its own mean. One
// listener alone gives zeros.
func (fit *panelFit) bootstrapMean(m int, opt seat.Options) (stated, drawn [3]float64) {
	jacobian := fit.meanJacobian(m)
	var influence [][3]float64 // of each listener who wore the model
	stat := mat.NewSymDense(3, nil)
	for li, l := range fit.listeners {
		if !l.wears(m) {
			continue
		}
		lf := &fit.per[li]
		var v mat.VecDense
		v.MulVec(jacobian, lf.rest)
		influence = append(influence, [3]float64{v.AtVec(0), v.AtVec(1), v.AtVec(2)})
		stat.AddSym(stat, stats.Symmetric(lf.says(jacobian)))
	}
	n := len(influence)
	if n < 2 {
		return stated, drawn
	}
	draws := opt.Bootstrap
	if draws <= 0 {
		draws = bootstrapDefault
	}
	rng := rand.New(rand.NewPCG(opt.Seed, uint64(m)))
	var sum, square [3]float64
	for range draws {
		var at [3]float64
		for range n {
			for a, v := range influence[rng.IntN(n)] {
				at[a] += v
			}
		}
		for a, v := range at {
			sum[a] += v
			square[a] += v * v
		}
	}
	for a := range 3 {
		mean := sum[a] / float64(draws)
		drawn[a] = math.Sqrt(math.Max(0, square[a]/float64(draws)-mean*mean) * float64(n) / float64(n-1))
		stated[a] = math.Sqrt(stat.At(a, a))
	}
	return stated, drawn
}

// meanJacobian is the headset position of model m's people, as a linear function
// of what the listeners say of θ (3 × Dim).
func (fit *panelFit) meanJacobian(m int) *mat.Dense {
	var out mat.Dense
	out.Mul(fit.peopleRows(m), fit.thetaRoot.T())
	return &out
}
