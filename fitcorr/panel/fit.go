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
		s, last = fit.maximise(ctx, jobs), fit.deviance
		fit.moveStraight()
	}
}

// expect computes the posterior of θ and of every listener.
func (p *panel) expect(ctx context.Context, s *effects.Covariances, jobs int) (*panelFit, error) {
	prior, ok := s.Prior(p.Layout, p.reading.LandmarkMM)
	if !ok {
		return nil, stats.ErrSingular
	}
	fit := &panelFit{panel: p, cov: s, per: make([]listenerFit, len(p.listeners))}
	fit.root0, fit.lower = lowerRoot(p.root0(s, prior.Ears))
	fit.seatings = newPosteriors(fit)
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].ev = p.evidenceOf(p.listeners[i]) }); err != nil {
		return nil, err
	}
	first := firstsOfPrecision(fit.per)
	fails := make([]bool, len(p.listeners))
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) {
		fails[i] = first[i] == i && !fit.per[i].eliminate(p.Layout, prior, &p.listeners[i].space)
	}); err != nil {
		return nil, err
	}
	if slices.Contains(fails, true) || !fit.solve(first) {
		return nil, stats.ErrSingular
	}
	if err := workers.All(ctx, len(p.listeners), jobs, func(i int) {
		lf := &fit.per[i]
		rest := lf.ev.timesVec(p.Layout, fit.theta)
		rest.SubVec(lf.ev.rhs, rest)
		lf.x, lf.u = mat.NewVecDense(p.Dim(), nil), mat.NewVecDense(p.Dim(), nil)
		lf.x.MulVec(lf.given, rest)
		lf.u.AddVec(lf.x, fit.theta)
		if first[i] == i {
			lf.shared = fit.times(lf.pull, fit.thetaRoot)
		}
	}); err != nil {
		return nil, err
	}
	for i := range fit.per {
		fit.per[i].likeFirst(&fit.per[first[i]])
	}
	return fit, nil
}

// solve sets the posterior of θ from what the listeners say of it, and the deviance; first
// is firstsOfPrecision. It reports whether the equations determine θ.
func (fit *panelFit) solve(first []int) bool {
	dim, root0 := fit.Dim(), fit.root0
	fit.deviance, fit.levels = fit.seatingsDeviance()
	sum, rhs := mat.NewSymDense(dim, nil), mat.NewVecDense(dim, nil)
	for i := range fit.per {
		lf := &fit.per[i]
		lf.likeFirst(&fit.per[first[i]])
		sum.AddSym(sum, lf.reduced)
		var own mat.VecDense
		own.MulVec(lf.given, lf.ev.rhs)
		lf.score = lf.ev.timesVec(fit.Layout, &own)
		lf.score.SubVec(lf.ev.rhs, lf.score)
		rhs.AddVec(rhs, lf.score)
		fit.deviance += lf.logDet - mat.Dot(&own, lf.ev.rhs)
	}
	_, cols := root0.Dims()
	precision := mat.NewSymDense(cols, nil)
	stats.AddProduct(precision, 1, stats.Transposed(root0), fit.times(mat.DenseCopyOf(sum), root0))
	for k := range cols {
		stats.AddSym(precision, k, k, 1)
	}
	info := mat.DenseCopyOf(precision)
	logDet, ok := stats.Invert(info)
	if !ok {
		return false
	}
	fit.deviance += logDet
	fit.etaCov = stats.Symmetric(info)
	var right mat.VecDense
	right.MulVec(root0.T(), rhs)
	fit.eta, fit.theta = new(mat.VecDense), new(mat.VecDense)
	fit.eta.MulVec(fit.etaCov, &right)
	fit.deviance -= mat.Dot(&right, fit.eta)
	fit.theta.MulVec(root0, fit.eta)
	fit.thetaRoot = stats.TimesLower(root0, stats.CholeskyRoot(fit.etaCov))
	return true
}

// lowerRoot returns the lower triangular root of rr', dim square, which r has more columns
// than; r itself, and false, where that is singular.
func lowerRoot(r *mat.Dense) (root *mat.Dense, lower bool) {
	dim, _ := r.Dims()
	cov := mat.NewSymDense(dim, nil)
	stats.AddOuter(cov, 1, r)
	factor, ok := stats.Factorize(cov)
	if !ok {
		return r, false
	}
	return factor.Lower(), true
}

// times returns m·root, of root0 or thetaRoot.
func (fit *panelFit) times(m, root *mat.Dense) *mat.Dense {
	if fit.lower {
		return stats.TimesLower(m, root)
	}
	return stats.Product(m, root)
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

// root0 returns a root of Λ₀: the fixture's own ear, the survey's error at the panel's mean
// position and what the surface is not straight by, as far as all its seatings share
// them, and the prior of the worn means. Its first columns are those of earRoot
// (effects.Prior), on the scale of the fixture's ear.
func (p *panel) root0(s *effects.Covariances, earRoot *mat.Dense) *mat.Dense {
	n := p.Bands.N
	_, ears := earRoot.Dims()
	var survey []*mat.Dense
	cols := ears + placing.HeadsetDim*(2*len(p.models)+1)
	if p.Read {
		cols += placing.ReadDim * (1 + len(p.models))
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
	for part, v := range s.Fixture {
		from, to := part*ears/2, (part+1)*ears/2
		out.Slice(0, p.Dim(), from, to).(*mat.Dense).Scale(math.Sqrt(v), earRoot.Slice(0, p.Dim(), from, to))
	}
	prior := stats.CholeskyRoot(placing.WornPrior())
	for m := range p.models {
		p.FillPosition(out, m, ears+placing.HeadsetDim*m, prior)
	}
	p.FillConfounded(out, s.Confounded, math.Sqrt(s.Fixture[0]), ears+placing.HeadsetDim*len(p.models))
	col := ears + placing.HeadsetDim*(2*len(p.models)+1)
	if p.Read {
		p.FillLandmark(out, col, p.reading.FixtureLandmarkMM)
		col += placing.ReadDim
		col += p.fillMarks(out, col)
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
	return out
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
