package panel

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// panelFit is the posterior of a panel.
type panelFit struct {
	*panel
	cov       *effects.Covariances
	root0     *mat.Dense // L₀: θ = L₀η
	eta       *mat.VecDense
	etaCov    *mat.SymDense
	etaRoot   *mat.Dense // Cov(η) = etaRoot·etaRoot'
	theta     *mat.VecDense
	thetaRoot *mat.Dense // Cov(θ) = thetaRoot·thetaRoot'
	per       []listenerFit
	blocks    map[blockKind]*mat.Dense // covariances that blockOf worked out
	deviance  float64                  // −2 log marginal likelihood of all seatings, up to a constant
	levels    float64                  // how many levels of worn seatings it is the deviance of
	rounds    int                      // of expectation–maximisation
	change    float64                  // of the deviance per level in the last round
}

// estimate runs expectation–maximisation and returns the posterior. The M-step of
// ears and scatter shrinks toward structured covariances (structured, setScatter)
// and so is no maximum of the likelihood: the deviance need not fall in every
// round, and the fixed point is what is looked for.
func (p *panel) estimate(ctx context.Context, jobs int) (*panelFit, error) {
	s := p.priorCovariances()
	for _, m := range p.models {
		for e := range 2 {
			m.scatter[e] = m.ears[e].Scatter
		}
		m.within = placing.HeadsetCov(priorWithin, priorWithinOwn)
		prior := placing.WornPrior()
		for a := range m.meanVariance {
			m.meanVariance[a] = (prior.At(a, a) + prior.At(a, 3+a)) / 2
		}
	}
	var last float64 // the deviance of the round before; of its fit, which is large, nothing is kept
	for round := 1; ; round++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p.straightenAll()
		if !p.lineariseAll() {
			return nil, stats.ErrSingular
		}
		fit, err := p.expect(ctx, s, jobs)
		if err != nil {
			return nil, err
		}
		fit.rounds = round
		if round > 1 {
			fit.change = math.Abs(fit.deviance-last) / fit.levels
		}
		if round == mostRounds || round > 1 && fit.change < convergedDeviance {
			return fit, nil
		}
		if round <= settledRounds {
			fit.markOutliers()
		}
		s, last = fit.maximise(), fit.deviance
		fit.moveStraight()
	}
}

// expect computes the posterior of θ and of every listener.
func (p *panel) expect(ctx context.Context, s *effects.Covariances, jobs int) (*panelFit, error) {
	l := s.Root(p.Layout, p.reading.LandmarkMM)
	l0, scale := p.root0(s, l)
	fit := &panelFit{panel: p, cov: s, root0: l0, per: make([]listenerFit, len(p.listeners)), blocks: map[blockKind]*mat.Dense{}}
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].ev = p.evidenceOf(p.listeners[i]) }); err != nil {
		return nil, err
	}
	first := firstsOfPrecision(fit.per)
	fails := make([]bool, len(p.listeners))
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) {
		fails[i] = first[i] == i && !fit.per[i].eliminate(l, l0, scale)
	}); err != nil {
		return nil, err
	}
	if slices.Contains(fails, true) {
		return nil, stats.ErrSingular
	}
	fit.deviance, fit.levels = p.seatingsDeviance()
	_, r0 := l0.Dims()
	info := mat.NewSymDense(r0, nil)
	rhs := mat.NewVecDense(r0, nil)
	for k := range r0 {
		info.SetSym(k, k, 1)
	}
	for i := range fit.per {
		lf := &fit.per[i]
		lf.likeFirst(&fit.per[first[i]])
		info.AddSym(info, lf.reduced)
		var l0q, t mat.VecDense
		lf.lq.MulVec(l.Whole.T(), lf.ev.rhs)
		l0q.MulVec(l0.T(), lf.ev.rhs)
		t.MulVec(lf.gain.T(), &lf.lq)
		l0q.SubVec(&l0q, &t)
		lf.score = &l0q
		rhs.AddVec(rhs, &l0q)
		fit.deviance += lf.logDet - mat.Inner(&lf.lq, lf.binv, &lf.lq)
	}
	var chol mat.Cholesky
	fit.etaCov = mat.NewSymDense(r0, nil)
	if !chol.Factorize(info) || chol.InverseTo(fit.etaCov) != nil {
		return nil, stats.ErrSingular
	}
	fit.eta = mat.NewVecDense(r0, nil)
	fit.eta.MulVec(fit.etaCov, rhs)
	fit.deviance += chol.LogDet() - mat.Dot(rhs, fit.eta)
	fit.theta = mat.NewVecDense(p.Dim(), nil)
	fit.theta.MulVec(l0, fit.eta)
	fit.etaRoot = stats.CholeskyRoot(fit.etaCov)
	fit.thetaRoot = stats.TimesLower(l0, fit.etaRoot)
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) {
		lf := &fit.per[i]
		var t, xi mat.VecDense
		t.MulVec(lf.pl.T(), fit.theta)
		t.SubVec(&lf.lq, &t)
		xi.MulVec(lf.binv, &t)
		lf.x, lf.u = mat.NewVecDense(p.Dim(), nil), mat.NewVecDense(p.Dim(), nil)
		lf.x.MulVec(l.Whole, &xi)
		lf.u.AddVec(lf.x, fit.theta)
		if first[i] == i {
			lf.setRoots(l, fit)
		}
	}); err != nil {
		return nil, err
	}
	for i := range fit.per {
		lf := &fit.per[i]
		lf.xRoot, lf.uRoot = fit.per[first[i]].xRoot, fit.per[first[i]].uRoot
		lf.binv, lf.half, lf.pl, lf.gain = nil, nil, nil, nil // large, and done with
	}
	return fit, nil
}

// seatingsDeviance is the part of the deviance that the seatings have before
// listeners are put together, Σ log|V| + z'V⁻¹z, and the number of their levels.
func (p *panel) seatingsDeviance() (sum, levels float64) {
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			sum += w.logDet + mat.Inner(w.z, w.weight, w.z)
			for _, v := range slices.Concat(w.obs.Variance[:]...) {
				if v < survey.MissingVar {
					levels++
				}
			}
		}
	}
	return sum, levels
}

// unsettled says so when the rounds ended before the fit had settled.
func (f *panelFit) unsettled() []string {
	if f.change < convergedDeviance {
		return nil
	}
	return []string{fmt.Sprintf("how people's ears and positions differ had not settled after %d rounds of estimation (the deviance still changes by %.2g per level and round, %g is the limit): intervals of worn positions are rough; more listeners or seatings would tell",
		f.rounds, f.change, convergedDeviance)}
}
