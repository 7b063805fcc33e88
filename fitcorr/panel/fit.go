package panel

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/workers"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Fit fits the panel and returns its results by the name of the model; a model that
// nobody wore has none. It fails with ctx's error, and with stats.ErrSingular where the
// data do not determine the panel; no models that somebody wore give nil.
func Fit(ctx context.Context, models []*position.Model, bareRows []seat.Seating, opt seat.Options) (map[string]*Result, error) {
	p := newPanel(models, bareRows, seat.ReadingOr(opt.Reading))
	if len(p.models) == 0 {
		return nil, nil
	}
	fit, err := p.estimate(ctx, opt.Jobs)
	if err != nil {
		return nil, err
	}
	out := map[string]*Result{}
	for m, pm := range p.models {
		out[pm.setup.Name] = fit.result(m, opt)
	}
	return out, nil
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
		p.straighten()
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
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].ev = p.evidenceOf(p.listeners[i]) }); err != nil {
		return nil, err
	}
	first := firstsOfPrecision(fit.per)
	fails := make([]bool, len(p.listeners))
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) {
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
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) {
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

// root0 returns L₀: the fixture's own ear, the survey's error at the panel's mean
// position and what the surface is not straight by, as far as all its seatings share
// them, and the prior of the worn means. Its first columns are those of L that are of
// ears, each times scale.
func (p *panel) root0(s *effects.Covariances, l effects.Factor) (root *mat.Dense, scale []float64) {
	n := p.Bands.N
	ears, lc := l.Cols()
	var survey []*mat.Dense
	cols := lc
	if p.Read {
		cols += placing.ReadDim * len(p.models)
	}
	for _, m := range p.models {
		for e := range 2 {
			if m.ears[e].Survey == nil {
				survey = append(survey, nil)
				continue
			}
			st := &m.surface[e]
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(st.Excess[i]*st.Excess[j])*m.ears[e].Total.At(i, j)+m.common(e, i, j))
				}
			}
			r := stats.EigenRoot(c, 0.03)
			_, k := r.Dims()
			cols += k
			survey = append(survey, r)
		}
	}
	out := mat.NewDense(p.Dim(), cols, nil)
	scale = make([]float64, ears)
	for j := range scale {
		scale[j] = math.Sqrt(s.Fixture[0])
		if j >= l.Ears[0] {
			scale[j] = math.Sqrt(s.Fixture[1])
		}
		for i := range p.Dim() { // zero on the rows of positions
			out.Set(i, j, scale[j]*l.Whole.At(i, j))
		}
	}
	prior := stats.CholeskyRoot(placing.WornPrior())
	for m := range p.models {
		p.FillPosition(out, m, ears+placing.HeadsetDim*m, prior)
	}
	p.FillConfounded(out, s.Confounded, math.Sqrt(s.Fixture[0]), ears+placing.HeadsetDim*len(p.models))
	col := lc
	if p.Read {
		p.FillLandmark(out, lc-placing.ReadDim, p.reading.FixtureLandmarkMM)
		col += p.fillMarks(out, lc)
	}
	for i, r := range survey {
		if r == nil {
			continue
		}
		_, w := r.Dims()
		row := p.Channel(i%2, i/2)
		for a := range n {
			for b := range w {
				out.Set(row+a, col+b, r.At(a, b))
			}
		}
		col += w
	}
	return out, scale
}

// fillMarks sets the columns of what the marks err by, each model its own, and
// returns how many they are.
func (p *panel) fillMarks(out *mat.Dense, col int) int {
	for m, pm := range p.models {
		for a := range placing.ReadDim {
			out.Set(p.Landmark(m)+a, col+placing.ReadDim*m+a, math.Sqrt(pm.mark.Variance[a]))
		}
	}
	return placing.ReadDim * len(p.models)
}

// common is the same of what all seatings of the panel depart by alike: what is left of
// the surface as far as the mean is uncertain, and people's mean slope, which lies off the
// fixture's, over the way from the mark.
func (pm *panelModel) common(e, r, q int) float64 {
	s := &pm.surface[e]
	var way float64
	for a, v := range pm.meanVariance {
		way += v + s.Centre[a]*s.Centre[a]
	}
	return pm.shared*s.Rest.At(r, q) + way/s.Draws*s.Own.At(r, q)
}
