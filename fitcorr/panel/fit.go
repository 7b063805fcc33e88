package panel

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
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
	results := make([]*Result, len(p.models))
	err = workers.All(ctx, len(results), opt.Jobs, func(m int) { results[m] = fit.result(m, opt) })
	out := map[string]*Result{}
	for m, pm := range p.models {
		out[pm.setup.Name] = results[m]
	}
	return out, err
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
	fit := &panelFit{panel: p, cov: s, groups: p.grouped(), per: make([]listenerFit, len(p.listeners))}
	if more := len(fit.groups) - len(p.space.groups); more > 0 {
		p.space.groups = append(p.space.groups, make([]workspace, more)...)
	}
	var root0 *mat.Dense
	known := make([]bool, len(fit.groups))
	if err := workers.All(ctx, len(known)+1, jobs, func(i int) {
		if i == len(known) {
			root0, fit.lower = rootOf(p.priorOfAll(s))
			return
		}
		g := fit.groups[i]
		known[i] = g.eliminate(prior, &p.space.groups[i])
		for _, li := range g.members {
			known[i] = known[i] && fit.per[li].hear(g, p.listeners[li])
		}
	}); err != nil {
		return nil, err
	}
	if slices.Contains(known, false) || !fit.solve(root0) {
		return nil, stats.ErrSingular
	}
	if err := workers.All(ctx, len(fit.groups), jobs, func(i int) { fit.groups[i].follow(fit, &p.space.groups[i]) }); err != nil {
		return nil, err
	}
	return fit, workers.All(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].settle(fit, p.listeners[i]) })
}

// solve sets the posterior of θ from what the listeners say of it, and the deviance; root0 is L₀.
// It reports whether the equations determine θ.
func (fit *panelFit) solve(root0 *mat.Dense) bool {
	dim, space := fit.Dim(), &fit.space
	_, cols := root0.Dims()
	fit.deviance, fit.levels = fit.seatingsDeviance()
	all, rhs := zeroed(&space.sum, dim, dim), mat.NewVecDense(dim, nil)
	sum := mat.NewSymDense(dim, all.RawMatrix().Data)
	for _, g := range fit.groups {
		for i := range dim {
			floats.AddScaled(all.RawRowView(i)[i:], float64(len(g.members)), g.reduced.RawRowView(i)[i:])
		}
		rows, _ := g.ruler.Dims()
		less := mat.NewDense(rows, rows, nil)
		for _, li := range g.members {
			lf := &fit.per[li]
			less.Add(less, lf.less)
			rhs.AddVec(rhs, lf.score)
			fit.deviance += lf.fit
		}
		stats.AddProduct(sum, 1, stats.Transposed(g.unseen), stats.Product(less, g.unseen))
	}
	stats.Mirror(all)
	half, precision := zeroed(&space.half, dim, cols), zeroed(&space.precision, cols, cols)
	fit.times(half, all, root0)
	upper := mat.NewSymDense(cols, precision.RawMatrix().Data) // I + L₀'·ΣM·L₀
	if fit.lower {
		stats.AddLower(upper, root0, half)
	} else {
		stats.AddProduct(upper, 1, stats.Transposed(root0), half)
	}
	for k := range cols {
		stats.AddSym(upper, k, k, 1)
	}
	stats.Mirror(precision)
	logDet, ok := stats.Invert(precision)
	if !ok {
		return false
	}
	fit.deviance += logDet
	fit.thetaRoot = zeroed(&space.root, dim, cols)
	fit.times(fit.thetaRoot, root0, stats.CholeskyRoot(upper))
	var along mat.VecDense
	along.MulVec(fit.thetaRoot.T(), rhs)
	fit.deviance -= mat.Dot(&along, &along)
	fit.theta = new(mat.VecDense)
	fit.theta.MulVec(fit.thetaRoot, &along)
	return true
}

// rootOf returns a root of a covariance, and whether it is lower triangular, which it is but for
// a singular one.
func rootOf(cov *mat.SymDense) (root *mat.Dense, lower bool) {
	if root, lower = stats.LowerRoot(cov); lower {
		return root, true
	}
	return stats.EigenRoot(cov, 1e-12), false
}

// times sets dst to m·root, of a root that is lower triangular where L₀ is.
func (fit *panelFit) times(dst, m, root *mat.Dense) {
	if fit.lower {
		stats.MultiplyLower(dst, m, root)
	} else {
		stats.Multiply(dst, m, root)
	}
}

// seatingsDeviance is the part of the deviance that the seatings have before
// listeners are put together, Σ log|V| + z'V⁻¹z, and the number of their levels.
func (p *panel) seatingsDeviance() (sum, levels float64) {
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			n2 := w.z.Len()
			sum += w.logDet + mat.Inner(w.z, w.kind.levels.Slice(0, n2, 0, n2), w.z)
			if w.told != nil {
				sum += mat.Inner(w.beside, w.told, w.beside)
			}
			for _, v := range slices.Concat(w.obs.Variance[:]...) {
				if v < survey.MissingVar {
					levels++
				}
			}
		}
	}
	return sum, levels
}

// priorOfAll returns Λ₀: the fixture's own ear, on the scale of its variance, the survey's error at
// the panel's mean position and what the surface is not straight by, as far as all its
// seatings share them, and the prior of the worn means.
func (p *panel) priorOfAll(s *effects.Covariances) *mat.SymDense {
	n, models := p.Bands.N, len(p.models)
	cov := s.Ears(p.Layout, s.Fixture)
	cols := placing.HeadsetDim * (2*models + 1)
	if p.Read {
		cols += placing.ReadDim * (1 + models)
	}
	others := mat.NewDense(p.Dim(), cols, nil)
	prior := stats.CholeskyRoot(placing.WornPrior())
	for m := range p.models {
		p.FillPosition(others, m, placing.HeadsetDim*m, prior)
	}
	p.FillConfounded(others, s.Confounded, math.Sqrt(s.Fixture[0]), placing.HeadsetDim*models)
	if p.Read {
		col := placing.HeadsetDim * (2*models + 1)
		p.FillLandmark(others, col, p.reading.FixtureLandmarkMM)
		p.fillMarks(others, col+placing.ReadDim)
	}
	stats.AddOuter(cov, 1, others)
	for k, m := range p.models {
		for e := range 2 {
			if m.ears[e].Survey == nil {
				continue
			}
			st := &m.surface[e]
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(st.Excess[i]*st.Excess[j])*m.ears[e].Total.At(i, j)+m.common(e, i, j))
				}
			}
			r, from := stats.EigenRoot(c, 0.03), p.Channel(e, k)
			for i := range n {
				for j := i; j < n; j++ {
					stats.AddSym(cov, from+i, from+j, stats.DotRows(r, i, j))
				}
			}
		}
	}
	return cov
}

// fillMarks sets the columns of what the marks err by, each model its own.
func (p *panel) fillMarks(out *mat.Dense, col int) {
	for m, pm := range p.models {
		for a := range placing.ReadDim {
			out.Set(p.Landmark(m)+a, col+placing.ReadDim*m+a, math.Sqrt(pm.mark.Variance[a]))
		}
	}
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
