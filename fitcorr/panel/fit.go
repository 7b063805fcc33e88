package panel

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// panelFit is the posterior of a panel.
type panelFit struct {
	*panel
	cov      *covariances
	root0    *mat.Dense // L₀: θ = L₀η
	eta      *mat.VecDense
	etaCov   *mat.SymDense
	etaRoot  *mat.Dense // Cov(η) = etaRoot·etaRoot'
	theta    *mat.VecDense
	per      []listenerFit
	deviance float64 // −2 log marginal likelihood of all seatings, up to a constant
	levels   float64 // how many levels of worn seatings it is the deviance of
	rounds   int     // of expectation–maximisation
	change   float64 // of the deviance per level in the last round
	ears     [2]int  // columns of L₀, as of L, that are of ears
}

// listenerFit is the posterior of one listener's latent vector.
type listenerFit struct {
	u       *mat.VecDense // mean of u_s
	x       *mat.VecDense // mean of x_s
	xRoot   *mat.Dense    // Cov(x_s) = xRoot·xRoot'
	uRoot   *mat.Dense    // Cov(u_s) = uRoot·uRoot'
	ev      evidence
	binv    *mat.SymDense // B⁻¹, B = I + L'PL
	logDet  float64       // of B
	pl      *mat.Dense    // PL
	gain    *mat.Dense    // B⁻¹L'PL₀
	reduced *mat.Dense    // R = L₀'M L₀
	score   *mat.VecDense // b: what the listener says about η is normal with mean Rη and covariance R
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
		m.within = position.HeadsetCov(priorWithin, priorWithinOwn)
	}
	var fit *panelFit
	for round := 1; ; round++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if fit != nil {
			fit.moveLinearisation()
		}
		p.centreSlopes()
		if !p.lineariseAll() {
			return nil, stats.ErrSingular
		}
		last := fit
		var err error
		if fit, err = p.expect(ctx, s, jobs); err != nil {
			return nil, err
		}
		fit.rounds = round
		if last != nil {
			fit.change = math.Abs(fit.deviance-last.deviance) / fit.levels
		}
		if round == mostRounds || last != nil && fit.change < convergedDeviance {
			return fit, nil
		}
		if round <= settledRounds {
			fit.markOutliers()
		}
		s = fit.maximise()
	}
}

// expect computes the posterior of θ and of every listener.
func (p *panel) expect(ctx context.Context, s *covariances, jobs int) (*panelFit, error) {
	l, ears := p.root(s)
	l0 := p.root0(s, l, ears)
	_, r := l.Dims()
	_, r0 := l0.Dims()
	fit := &panelFit{panel: p, cov: s, root0: l0, ears: ears, per: make([]listenerFit, len(p.listeners))}
	fails := make([]bool, len(p.listeners))
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].ev = p.evidenceOf(p.listeners[i]) }); err != nil {
		return nil, err
	}
	first := firstsOfPrecision(fit.per)
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) {
		if first[i] != i {
			return
		}
		lf := &fit.per[i]
		var lplSq, l0pl0 mat.Dense
		lf.pl = p.times(lf.ev, l)
		pl0 := p.times(lf.ev, l0)
		lplSq.Mul(l.T(), lf.pl)
		lpl0 := mat.NewDense(r, r0, nil)
		lpl0.Mul(l.T(), pl0)
		l0pl0.Mul(l0.T(), pl0)
		b := stats.Symmetric(&lplSq)
		for k := range r {
			b.SetSym(k, k, b.At(k, k)+1)
		}
		var chol mat.Cholesky
		lf.binv = mat.NewSymDense(r, nil)
		if !chol.Factorize(b) || chol.InverseTo(lf.binv) != nil {
			fails[i] = true
			return
		}
		lf.logDet = chol.LogDet()
		lf.gain = mat.NewDense(r, r0, nil)
		lf.gain.Mul(mat.DenseCopyOf(lf.binv), lpl0)
		lf.reduced = mat.NewDense(r0, r0, nil)
		lf.reduced.Mul(lpl0.T(), lf.gain)
		lf.reduced.Sub(&l0pl0, lf.reduced)
	}); err != nil {
		return nil, err
	}
	for _, f := range fails {
		if f {
			return nil, stats.ErrSingular
		}
	}
	fit.deviance, fit.levels = p.seatingsDeviance()
	info := mat.NewSymDense(r0, nil)
	rhs := mat.NewVecDense(r0, nil)
	for k := range r0 {
		info.SetSym(k, k, 1)
	}
	for i := range fit.per {
		lf := &fit.per[i]
		like := &fit.per[first[i]]
		lf.pl, lf.binv, lf.gain, lf.reduced = like.pl, like.binv, like.gain, like.reduced
		info.AddSym(info, stats.Symmetric(lf.reduced))
		var lq, l0q, t mat.VecDense
		lq.MulVec(l.T(), lf.ev.rhs)
		l0q.MulVec(l0.T(), lf.ev.rhs)
		t.MulVec(lf.gain.T(), &lq)
		l0q.SubVec(&l0q, &t)
		lf.score = &l0q
		rhs.AddVec(rhs, &l0q)
		lf.logDet = like.logDet
		fit.deviance += lf.logDet - mat.Inner(&lq, lf.binv, &lq)
	}
	var chol mat.Cholesky
	fit.etaCov = mat.NewSymDense(r0, nil)
	if !chol.Factorize(info) || chol.InverseTo(fit.etaCov) != nil {
		return nil, stats.ErrSingular
	}
	fit.eta = mat.NewVecDense(r0, nil)
	fit.eta.MulVec(fit.etaCov, rhs)
	fit.deviance += chol.LogDet() - mat.Dot(rhs, fit.eta)
	fit.theta = mat.NewVecDense(p.dim(), nil)
	fit.theta.MulVec(l0, fit.eta)
	fit.etaRoot = stats.CholeskyRoot(fit.etaCov)
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) {
		lf := &fit.per[i]
		var lq, t, xi mat.VecDense
		lq.MulVec(l.T(), lf.ev.rhs)
		t.MulVec(lf.pl.T(), fit.theta)
		t.SubVec(&lq, &t)
		xi.MulVec(lf.binv, &t)
		lf.x = mat.NewVecDense(p.dim(), nil)
		lf.x.MulVec(l, &xi)
		lf.u = mat.NewVecDense(p.dim(), nil)
		lf.u.AddVec(lf.x, fit.theta)
		// Roots: Cov ξ = B⁻¹ + G C₀ G', u = θ + Lξ.
		if first[i] != i {
			return
		}
		var lb, lg, tl0, a, b mat.Dense
		lb.Mul(l, stats.CholeskyRoot(lf.binv))
		lg.Mul(l, lf.gain)
		tl0.Sub(l0, &lg)
		a.Mul(&lg, fit.etaRoot)
		b.Mul(&tl0, fit.etaRoot)
		lf.xRoot, lf.uRoot = new(mat.Dense), new(mat.Dense)
		lf.xRoot.Augment(&lb, &a)
		lf.uRoot.Augment(&lb, &b)
	}); err != nil {
		return nil, err
	}
	for i := range fit.per {
		fit.per[i].xRoot, fit.per[i].uRoot = fit.per[first[i]].xRoot, fit.per[first[i]].uRoot
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
