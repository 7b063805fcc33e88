package panel

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Priors of the panel model. Sizes are what published repeat studies and ear
// geometry make plausible (docs/offsets.md); they count as priorListeners
// listeners against the panel's own evidence.
const (
	priorListeners   = 2.0
	fixtureEarFactor = 1.0 // variance of the fixture's ear over that of a person's
	panelIterations  = 6
)

// panelFit is the posterior of a panel.
type panelFit struct {
	spread   *spread
	root0    *mat.Dense // L₀: θ = L₀η
	eta      *mat.VecDense
	etaCov   *mat.SymDense
	etaRoot  *mat.Dense // Cov(η) = etaRoot·etaRoot'
	theta    *mat.VecDense
	per      []listenerFit
	priorMu  *mat.SymDense
	fitBands survey.Bands
}

// listenerFit is the posterior of one listener's latent vector.
type listenerFit struct {
	u       *mat.VecDense // mean of u_s
	x       *mat.VecDense // mean of x_s
	xRoot   *mat.Dense    // Cov(x_s) = xRoot·xRoot'
	uRoot   *mat.Dense    // Cov(u_s) = uRoot·uRoot'
	ev      evidence
	binv    *mat.SymDense
	pl      *mat.Dense    // PL
	gain    *mat.Dense    // B⁻¹L'PL₀
	reduced *mat.Dense    // R = L₀'M L₀
	score   *mat.VecDense // b: what the listener says about η is normal with mean Rη and covariance R
}

// estimate runs expectation–maximisation and returns the posterior.
func (p *panel) estimate(ctx context.Context, jobs int) (*panelFit, error) {
	s := p.startSpread()
	for _, m := range p.models {
		for e := range 2 {
			m.scatter[e] = m.ears[e].Scatter
		}
		m.within = position.HeadsetCov([3]float64{1.5, 1.5, 1.5}, [3]float64{0.5, 0.5, 0.5})
	}
	var fit *panelFit
	for iter := range panelIterations {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if fit != nil {
			p.moveLinearisation(fit)
		}
		p.pivot()
		if !p.lineariseAll() {
			return nil, stats.ErrSingular
		}
		var err error
		if fit, err = p.expect(ctx, s, jobs); err != nil {
			return nil, err
		}
		if iter < panelIterations-1 {
			p.doubt(fit)
			s = p.maximise(fit)
		}
	}
	return fit, nil
}

// lineariseAll prepares all seatings at their current positions.
func (p *panel) lineariseAll() bool {
	firsts := make([][]*wornSeating, len(p.models)) // of those alike
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			var like *wornSeating
			for _, v := range firsts[w.model] {
				if w.alike(v) {
					like = v
					break
				}
			}
			if !p.linearise(w, like) {
				return false
			}
			if like == nil {
				firsts[w.model] = append(firsts[w.model], w)
			}
		}
	}
	return true
}

// pivot sets each model's slope at the mean of its seatings' positions.
func (p *panel) pivot() {
	for m, pm := range p.models {
		var mean [position.HeadsetDim]float64
		var count float64
		for _, l := range p.listeners {
			for i := range l.worn {
				if l.worn[i].model == m {
					count++
					for a, v := range l.worn[i].at {
						mean[a] += v
					}
				}
			}
		}
		for e := range 2 {
			if pm.ears[e].Survey == nil {
				continue
			}
			var d [3]float64
			for a := range d {
				d[a] = mean[3*e+a] / count
			}
			_, _, pm.excess[e] = pm.ears[e].Survey.Surface(p.bands, d)
			pm.slope[e] = meanSlope(pm.ears[e].Survey, p.bands, d)
			pm.meetListeners(p, e)
		}
	}
}

// pivotSpreadMM is how far around the panel's mean position the slope is
// averaged: the mean is not known better, and people's surfaces are not the
// fixture's in their finer bends.
const pivotSpreadMM = 3.0

func meanSlope(s *survey.Ear, bands survey.Bands, d [3]float64) (mean [3][]float64) {
	for a := range mean {
		mean[a] = make([]float64, bands.N)
	}
	for i := -1; i <= 1; i++ {
		for j := -1; j <= 1; j++ {
			q := [3]float64{d[0] + pivotSpreadMM*float64(i), d[1] + pivotSpreadMM*float64(j), d[2]}
			_, slope, _ := s.Surface(bands, q)
			for a := range mean {
				for r, v := range slope[a] {
					mean[a][r] += v / 9
				}
			}
		}
	}
	return mean
}

// root0 returns L₀: the fixture's own ear, the survey's error at the panel's
// mean position, which all its seatings share, and the prior of the worn means.
func (p *panel) root0(s *spread, l *mat.Dense) *mat.Dense {
	n := p.bands.N
	_, lc := l.Dims()
	ears := lc - p.smallColumns()
	var survey []*mat.Dense
	cols := lc
	if p.read {
		cols += position.ReadDim * len(p.models)
	}
	for _, m := range p.models {
		for e := range 2 {
			if m.ears[e].Survey == nil {
				survey = append(survey, nil)
				continue
			}
			excess := m.excess[e]
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(excess[i]*excess[j])*m.ears[e].Total.At(i, j))
				}
			}
			r := stats.EigenRoot(c, 0.03)
			_, k := r.Dims()
			cols += k
			survey = append(survey, r)
		}
	}
	out := mat.NewDense(p.dim(), cols, nil)
	k := math.Sqrt(fixtureEarFactor)
	for i := range p.dim() {
		for j := range ears { // zero on the rows of positions
			out.Set(i, j, k*l.At(i, j))
		}
	}
	prior := stats.CholeskyRoot(position.WornPrior())
	for m := range p.models {
		p.fillPosition(out, m, ears+position.HeadsetDim*m, prior)
	}
	p.fillAlike(out, s, ears+position.HeadsetDim*len(p.models))
	col := lc
	if p.read {
		p.fillLandmark(out, lc-position.ReadDim, p.reading.FixtureLandmarkMM)
		col += p.fillMarks(out, lc)
	}
	for i, r := range survey {
		if r == nil {
			continue
		}
		_, w := r.Dims()
		row := p.channel(i%2, i/2)
		for a := range n {
			for b := range w {
				out.Set(row+a, col+b, r.At(a, b))
			}
		}
		col += w
	}
	return out
}

// expect computes the posterior of θ and of every listener.
func (p *panel) expect(ctx context.Context, s *spread, jobs int) (*panelFit, error) {
	l := p.root(s)
	l0 := p.root0(s, l)
	_, r := l.Dims()
	_, r0 := l0.Dims()
	fit := &panelFit{spread: s, root0: l0, per: make([]listenerFit, len(p.listeners)), fitBands: p.bands}
	fails := make([]bool, len(p.listeners))
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) { fit.per[i].ev = p.evidenceOf(p.listeners[i]) }); err != nil {
		return nil, err
	}
	like := alikeEvidence(fit.per)
	if err := stats.Parallel(ctx, len(p.listeners), jobs, func(i int) {
		if like[i] != i {
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
	info := mat.NewSymDense(r0, nil)
	rhs := mat.NewVecDense(r0, nil)
	for k := range r0 {
		info.SetSym(k, k, 1)
	}
	for i := range fit.per {
		lf := &fit.per[i]
		first := &fit.per[like[i]]
		lf.pl, lf.binv, lf.gain, lf.reduced = first.pl, first.binv, first.gain, first.reduced
		info.AddSym(info, stats.Symmetric(lf.reduced))
		var lq, l0q, t mat.VecDense
		lq.MulVec(l.T(), lf.ev.rhs)
		l0q.MulVec(l0.T(), lf.ev.rhs)
		t.MulVec(lf.gain.T(), &lq)
		l0q.SubVec(&l0q, &t)
		lf.score = &l0q
		rhs.AddVec(rhs, &l0q)
	}
	var chol mat.Cholesky
	fit.etaCov = mat.NewSymDense(r0, nil)
	if !chol.Factorize(info) || chol.InverseTo(fit.etaCov) != nil {
		return nil, stats.ErrSingular
	}
	fit.eta = mat.NewVecDense(r0, nil)
	fit.eta.MulVec(fit.etaCov, rhs)
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
		if like[i] != i {
			return
		}
		var lb, lg, tl0, a, b mat.Dense
		lb.Mul(l, stats.CholeskyRoot(lf.binv))
		lg.Mul(l, lf.gain)
		tl0.Sub(l0, &lg)
		a.Mul(&lg, fit.etaRoot)
		b.Mul(&tl0, fit.etaRoot)
		lf.xRoot = stats.Beside(&lb, &a)
		lf.uRoot = stats.Beside(&lb, &b)
	}); err != nil {
		return nil, err
	}
	for i := range fit.per {
		fit.per[i].xRoot, fit.per[i].uRoot = fit.per[like[i]].xRoot, fit.per[like[i]].uRoot
	}
	return fit, nil
}

// alikeEvidence returns for each listener the first one whose precision is the
// same, which is the rule when everybody wore everything equally often: what
// depends on it alone is computed once.
func alikeEvidence(per []listenerFit) []int {
	like := make([]int, len(per))
	for i := range per {
		like[i] = i
		for j := range i {
			if like[j] == j && sameBlocks(per[i].ev.blocks, per[j].ev.blocks) {
				like[i] = j
				break
			}
		}
	}
	return like
}

func sameBlocks(a, b []*mat.SymDense) bool {
	for k := range a {
		if (a[k] == nil) != (b[k] == nil) || (a[k] != nil && !mat.Equal(a[k], b[k])) {
			return false
		}
	}
	return true
}
