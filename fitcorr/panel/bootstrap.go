package panel

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
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
// in what a listener says: Δη = C·Σ (w_s − 1)(b_s − R_s η). Variances are
// multiplied by n/(n − 1), since a sample scatters about its own mean. One
// listener alone gives zeros.
func (p *panel) bootstrapMean(fit *panelFit, m int, opt seat.Options) (stated, drawn [3]float64) {
	lever := p.meanLever(fit, m)
	_, r0 := lever.Dims()
	var pull [][3]float64 // of each listener who wore the model
	stat := mat.NewSymDense(3, nil)
	for li, l := range p.listeners {
		if !l.wears(m) {
			continue
		}
		lf := &fit.per[li]
		res := mat.NewVecDense(r0, nil)
		res.MulVec(lf.reduced, fit.eta)
		res.SubVec(lf.score, res)
		var v mat.VecDense
		v.MulVec(lever, res)
		pull = append(pull, [3]float64{v.AtVec(0), v.AtVec(1), v.AtVec(2)})
		var lr, c mat.Dense
		lr.Mul(lever, lf.reduced)
		c.Mul(&lr, lever.T())
		stat.AddSym(stat, stats.Symmetric(&c))
	}
	n := len(pull)
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
			for a, v := range pull[rng.IntN(n)] {
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

// meanLever is the headset position of model m's people, as a linear function
// of what the listeners say (3 × columns of L₀): E·L₀·C.
func (p *panel) meanLever(fit *panelFit, m int) *mat.Dense {
	var out mat.Dense
	out.Mul(p.peopleRows(fit, m), fit.etaCov)
	return &out
}

// people is the mean position of the people of model m, both ears together.
func (p *panel) people(fit *panelFit, m int, df float64) seat.Estimate {
	e := seat.Estimate{DF: df}
	rows := p.peopleRows(fit, m)
	var at mat.VecDense
	at.MulVec(rows, fit.eta)
	var half, cov mat.Dense
	half.Mul(rows, fit.etaCov)
	cov.Mul(&half, rows.T())
	prior := position.WornPrior()
	for a := range 3 {
		e.Value[a] = at.AtVec(a)
		for b := range 3 {
			e.Cov[a][b] = cov.At(a, b)
		}
		e.Seen[a] = e.Cov[a][a] < 0.5*(prior.At(a, a)+prior.At(a, 3+a))/2
	}
	return e
}

// peopleRows is that position as a linear function of η (3 × columns of L₀).
func (p *panel) peopleRows(fit *panelFit, m int) *mat.Dense {
	_, r0 := fit.root0.Dims()
	rows := mat.NewDense(3, r0, nil)
	for a := range 3 {
		for c := range r0 {
			var v float64
			for e := range 2 {
				i := 3*e + a
				v += (fit.root0.At(p.position(m)+i, c) - fit.root0.At(p.alike(m)+i, c)) / 2
			}
			rows.Set(a, c, v)
		}
	}
	return rows
}

// wears reports whether the listener has a worn seating of model m.
func (l *listener) wears(m int) bool {
	for i := range l.worn {
		if l.worn[i].model == m {
			return true
		}
	}
	return false
}
