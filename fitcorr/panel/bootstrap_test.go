package panel

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Listeners that scatter just as the model says have a bootstrap error that
// agrees with the stated one; when they scatter twice as much, it says so.
func TestBootstrapMean(t *testing.T) {
	const listeners, r0 = 8, 5
	rng := rand.New(rand.NewPCG(3, 1))
	p := &panel{Layout: effects.Layout{Bands: survey.NewBands(), Models: 1}, models: []*panelModel{{}}}
	for range listeners {
		p.listeners = append(p.listeners, &listener{worn: []wornSeating{{}}})
	}
	normal := func(r, c int) *mat.Dense {
		m := mat.NewDense(r, c, nil)
		for i := range r {
			for j := range c {
				m.Set(i, j, rng.NormFloat64())
			}
		}
		return m
	}
	for _, much := range []float64{1, 2} {
		var logs, n float64
		for range 60 {
			fit, root0 := &panelFit{panel: p}, normal(p.Dim(), r0)
			dim := p.Dim()
			theta := mat.NewVecDense(dim, nil)
			eta := mat.NewVecDense(r0, nil)
			for k := range r0 {
				eta.SetVec(k, rng.NormFloat64())
			}
			theta.MulVec(root0, eta)
			root := normal(dim, r0)
			var reduced mat.Dense
			reduced.Mul(root, root.T())
			none := mat.NewDense(1, dim, nil)
			g := &group{Layout: p.Layout, reduced: &reduced, unseen: none}
			var scores []*mat.VecDense
			sum, rhs := mat.NewDense(dim, dim, nil), mat.NewVecDense(dim, nil)
			for range listeners {
				// b ~ N(Mθ, much²·M)
				z := mat.NewVecDense(r0, nil)
				for k := range r0 {
					z.SetVec(k, much*rng.NormFloat64())
				}
				b := mat.NewVecDense(dim, nil)
				b.MulVec(root, z)
				var mean mat.VecDense
				mean.MulVec(&reduced, theta)
				b.AddVec(b, &mean)
				scores = append(scores, b)
				fit.per = append(fit.per, listenerFit{group: g, less: mat.NewDense(1, 1, nil)})
				sum.Add(sum, &reduced)
				rhs.AddVec(rhs, b)
			}
			var half, whole mat.Dense
			half.Mul(sum, root0)
			whole.Mul(root0.T(), &half)
			info := stats.Symmetric(&whole)
			info.AddSym(info, symmetricEye(r0, 1))
			var chol mat.Cholesky
			etaCov := mat.NewSymDense(r0, nil)
			if !chol.Factorize(info) || chol.InverseTo(etaCov) != nil {
				t.Fatal("singular")
			}
			fit.thetaRoot = stats.Product(root0, stats.CholeskyRoot(etaCov))
			eta.MulVec(root0.T(), rhs)
			eta.MulVec(etaCov, mat.VecDenseCopyOf(eta))
			fit.theta = mat.NewVecDense(dim, nil)
			fit.theta.MulVec(root0, eta)
			for i, b := range scores {
				fit.per[i].rest = new(mat.VecDense)
				fit.per[i].rest.MulVec(&reduced, fit.theta)
				fit.per[i].rest.SubVec(b, fit.per[i].rest)
			}
			stated, drawn := fit.bootstrapMean(0, seat.Options{Seed: 1, Bootstrap: 300})
			again, same := fit.bootstrapMean(0, seat.Options{Seed: 1, Bootstrap: 300})
			if stated != again || drawn != same {
				t.Fatal("the same seed gives another result")
			}
			for a := range 3 {
				logs += 2 * math.Log(drawn[a]/stated[a])
				n++
			}
		}
		// The variance of seven degrees of freedom is a little low on a log scale.
		if got := math.Exp(logs/n/2) / much; got < 0.85 || got > 1.05 {
			t.Errorf("scatter ×%g: bootstrap over stated is %.2f of it", much, got)
		}
	}
	alone := listenerFit{group: &group{Layout: p.Layout, reduced: normal(p.Dim(), p.Dim()), unseen: mat.NewDense(1, p.Dim(), nil)},
		less: mat.NewDense(1, 1, nil), rest: mat.NewVecDense(p.Dim(), nil)}
	stated, drawn := (&panelFit{panel: &panel{Layout: p.Layout, models: p.models, listeners: p.listeners[:1]},
		thetaRoot: normal(p.Dim(), r0), theta: mat.NewVecDense(p.Dim(), nil), per: []listenerFit{alone}}).bootstrapMean(0, seat.Options{})
	if stated != [3]float64{} || drawn != [3]float64{} {
		t.Errorf("one listener: %v, %v, want zeros", stated, drawn)
	}
}

func symmetricEye(n int, v float64) *mat.SymDense {
	m := mat.NewSymDense(n, nil)
	for i := range n {
		m.SetSym(i, i, v)
	}
	return m
}
