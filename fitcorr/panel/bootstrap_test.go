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
			fit := &panelFit{panel: p, root0: normal(p.Dim(), r0)}
			dim := p.Dim()
			theta := mat.NewVecDense(dim, nil)
			eta := mat.NewVecDense(r0, nil)
			for k := range r0 {
				eta.SetVec(k, rng.NormFloat64())
			}
			theta.MulVec(fit.root0, eta)
			root := normal(dim, r0)
			var reduced mat.Dense
			reduced.Mul(root, root.T())
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
				fit.per = append(fit.per, listenerFit{reduced: stats.Symmetric(&reduced), score: b})
				sum.Add(sum, &reduced)
				rhs.AddVec(rhs, b)
			}
			var half, whole mat.Dense
			half.Mul(sum, fit.root0)
			whole.Mul(fit.root0.T(), &half)
			info := stats.Symmetric(&whole)
			info.AddSym(info, symmetricEye(r0, 1))
			var chol mat.Cholesky
			fit.etaCov = mat.NewSymDense(r0, nil)
			if !chol.Factorize(info) || chol.InverseTo(fit.etaCov) != nil {
				t.Fatal("singular")
			}
			eta.MulVec(fit.root0.T(), rhs)
			eta.MulVec(fit.etaCov, mat.VecDenseCopyOf(eta))
			fit.theta = mat.NewVecDense(dim, nil)
			fit.theta.MulVec(fit.root0, eta)
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
	stated, drawn := (&panelFit{panel: &panel{Layout: p.Layout, models: p.models, listeners: p.listeners[:1]},
		root0: normal(p.Dim(), r0), etaCov: symmetricEye(r0, 1), theta: mat.NewVecDense(p.Dim(), nil),
		per: []listenerFit{{reduced: stats.Symmetric(normal(p.Dim(), p.Dim())), score: mat.NewVecDense(p.Dim(), nil)}}}).bootstrapMean(0, seat.Options{})
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
