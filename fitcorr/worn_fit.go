package fitcorr

import (
	"context"
	"math"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// Priors of the panel model. Sizes are what published repeat studies and ear
// geometry make plausible (docs/offsets.md); they count as priorListeners
// listeners against the panel's own evidence.
const (
	priorListeners   = 2.0
	priorMeanMM      = 5.0 // worn mean about the marked position, per axis
	priorMeanOwnMM   = 1.0 // of one ear against the headset
	fixtureEarFactor = 1.0 // variance of the fixture's ear over that of a person's
	panelIterations  = 24
)

// panelFit is the posterior of a panel.
type panelFit struct {
	spread   *spread
	root0    *mat.Dense // L₀: θ = L₀η
	eta      *mat.VecDense
	etaCov   *mat.SymDense
	theta    *mat.VecDense
	per      []listenerFit
	priorMu  *mat.SymDense
	fitBands positionBands
}

// listenerFit is the posterior of one listener's latent vector.
type listenerFit struct {
	u       *mat.VecDense // mean of u_s
	x       *mat.VecDense // mean of x_s
	xRoot   *mat.Dense    // Cov(x_s) = xRoot·xRoot'
	uRoot   *mat.Dense    // Cov(u_s) = uRoot·uRoot'
	ev      evidence
	binv    *mat.SymDense
	lpl     *mat.Dense // L'P
	lpl0    *mat.Dense // L'PL₀
	reduced *mat.Dense // L₀'M L₀
	rhs     *mat.VecDense
}

// startSpread is the prior guess of how ears differ: little below 1 kHz, by
// several dB where the pinna's own resonances lie.
func (p *panel) startSpread() *spread {
	s := &spread{width: 0.3, nugget: 0.02, channel: mat.NewSymDense(p.channels(), nil)}
	for range p.channels() {
		s.sd = append(s.sd, startEarSD(p.bands))
	}
	for i := range p.channels() {
		for j := i; j < p.channels(); j++ {
			s.channel.SetSym(i, j, p.startChannel(i, j))
		}
	}
	for range p.models {
		s.between = append(s.between, headsetCov([3]float64{2, 2, 2}, [3]float64{0.7, 0.7, 0.7}))
	}
	return s
}

func startEarSD(bands positionBands) []float64 {
	sd := make([]float64, bands.n)
	for r, hz := range bands.hz {
		sd[r] = 0.3 + 3*math.Min(1, math.Pow(hz/6000, 1.5))
	}
	return sd
}

func (p *panel) startChannel(i, j int) float64 {
	if i == j {
		return 1
	}
	same := i/p.width == j/p.width
	mi, mj := i%p.width, j%p.width
	bare := p.bare && (mi == p.width-1 || mj == p.width-1)
	v := 0.7
	switch {
	case mi == mj:
		v = 1
	case bare:
		v = 0.5
	}
	if !same {
		v *= 0.6
	}
	return v
}

// estimate runs expectation–maximisation and returns the posterior.
func (p *panel) estimate(ctx context.Context, jobs int) (*panelFit, error) {
	s := p.startSpread()
	for _, m := range p.models {
		m.ratio = 1
		m.within = headsetCov([3]float64{1.5, 1.5, 1.5}, [3]float64{0.5, 0.5, 0.5})
	}
	var fit *panelFit
	for iter := range panelIterations {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		relinearise := iter%4 == 0 || iter == panelIterations-1
		if fit != nil && relinearise {
			p.moveLinearisation(fit)
		}
		ok := true
		for _, l := range p.listeners {
			for i := range l.worn {
				if relinearise {
					ok = p.linearise(&l.worn[i]) && ok
				} else {
					ok = p.rescale(&l.worn[i]) && ok
				}
			}
		}
		if !ok {
			return nil, errSingular
		}
		var err error
		if fit, err = p.expect(s, jobs); err != nil {
			return nil, err
		}
		if iter < panelIterations-1 {
			s = p.maximise(s, fit)
		}
	}
	return fit, nil
}

// rescale is linearise at an unchanged position.
func (p *panel) rescale(w *wornSeating) bool { return p.linearise(w) }

// eachListener runs f for every listener on up to jobs workers.
func (p *panel) eachListener(jobs int, f func(i int)) {
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var wg sync.WaitGroup
	slots := make(chan struct{}, jobs)
	for i := range p.listeners {
		wg.Add(1)
		slots <- struct{}{}
		go func() {
			defer wg.Done()
			f(i)
			<-slots
		}()
	}
	wg.Wait()
}

// root0 returns L₀: the fixture's own ear, the survey's error at the marked
// position, and the prior of the worn means.
func (p *panel) root0(s *spread, l *mat.Dense) *mat.Dense {
	n := p.bands.n
	_, lc := l.Dims()
	ears := lc - headsetDim*len(p.models)
	var survey []*mat.Dense
	cols := lc
	for _, m := range p.models {
		for e := range 2 {
			if m.ears[e].survey == nil {
				survey = append(survey, nil)
				continue
			}
			_, _, excess := m.ears[e].survey.surface(p.bands, [3]float64{})
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(excess[i]*excess[j])*m.ears[e].total.At(i, j))
				}
			}
			r := eigenRoot(c, 0.03)
			_, k := r.Dims()
			cols += k
			survey = append(survey, r)
		}
	}
	out := mat.NewDense(p.dim(), cols, nil)
	k := math.Sqrt(fixtureEarFactor)
	for i := range p.earDim() {
		for j := range ears {
			out.Set(i, j, k*l.At(i, j))
		}
	}
	prior := eigenRoot(priorMean(), 1e-9)
	for m := range p.models {
		for i := range headsetDim {
			for j := range headsetDim {
				out.Set(p.position(m)+i, ears+headsetDim*m+j, prior.At(i, j))
			}
		}
	}
	col := lc
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

func priorMean() *mat.SymDense {
	return headsetCov([3]float64{priorMeanMM, priorMeanMM, priorMeanMM}, [3]float64{priorMeanOwnMM, priorMeanOwnMM, priorMeanOwnMM})
}

// expect computes the posterior of θ and of every listener.
func (p *panel) expect(s *spread, jobs int) (*panelFit, error) {
	l := p.root(s)
	l0 := p.root0(s, l)
	_, r := l.Dims()
	_, r0 := l0.Dims()
	fit := &panelFit{spread: s, root0: l0, per: make([]listenerFit, len(p.listeners)), fitBands: p.bands}
	fails := make([]bool, len(p.listeners))
	p.eachListener(jobs, func(i int) {
		lf := &fit.per[i]
		lf.ev = p.evidenceOf(p.listeners[i])
		var pl, pl0, lplSq, l0pl0 mat.Dense
		pl.Mul(lf.ev.prec, l)
		pl0.Mul(lf.ev.prec, l0)
		lf.lpl = mat.DenseCopyOf(pl.T())
		lplSq.Mul(l.T(), &pl)
		lf.lpl0 = mat.NewDense(r, r0, nil)
		lf.lpl0.Mul(l.T(), &pl0)
		l0pl0.Mul(l0.T(), &pl0)
		b := symmetric(&lplSq)
		for k := range r {
			b.SetSym(k, k, b.At(k, k)+1)
		}
		var chol mat.Cholesky
		lf.binv = mat.NewSymDense(r, nil)
		if !chol.Factorize(b) || chol.InverseTo(lf.binv) != nil {
			fails[i] = true
			return
		}
		var g mat.Dense // B⁻¹L'PL₀
		g.Mul(lf.binv, lf.lpl0)
		lf.reduced = mat.NewDense(r0, r0, nil)
		lf.reduced.Mul(lf.lpl0.T(), &g)
		lf.reduced.Sub(&l0pl0, lf.reduced)
		var lq, l0q, t mat.VecDense
		lq.MulVec(l.T(), lf.ev.rhs)
		l0q.MulVec(l0.T(), lf.ev.rhs)
		t.MulVec(g.T(), &lq)
		lf.rhs = mat.NewVecDense(r0, nil)
		lf.rhs.SubVec(&l0q, &t)
	})
	for _, f := range fails {
		if f {
			return nil, errSingular
		}
	}
	info := mat.NewSymDense(r0, nil)
	rhs := mat.NewVecDense(r0, nil)
	for k := range r0 {
		info.SetSym(k, k, 1)
	}
	for i := range fit.per {
		info.AddSym(info, symmetric(fit.per[i].reduced))
		rhs.AddVec(rhs, fit.per[i].rhs)
	}
	var chol mat.Cholesky
	fit.etaCov = mat.NewSymDense(r0, nil)
	if !chol.Factorize(info) || chol.InverseTo(fit.etaCov) != nil {
		return nil, errSingular
	}
	fit.eta = mat.NewVecDense(r0, nil)
	fit.eta.MulVec(fit.etaCov, rhs)
	fit.theta = mat.NewVecDense(p.dim(), nil)
	fit.theta.MulVec(l0, fit.eta)
	etaRoot := choleskyRoot(fit.etaCov)
	p.eachListener(jobs, func(i int) {
		lf := &fit.per[i]
		var lq, t, xi mat.VecDense
		lq.MulVec(l.T(), lf.ev.rhs)
		t.MulVec(lf.lpl, fit.theta)
		t.SubVec(&lq, &t)
		xi.MulVec(lf.binv, &t)
		lf.x = mat.NewVecDense(p.dim(), nil)
		lf.x.MulVec(l, &xi)
		lf.u = mat.NewVecDense(p.dim(), nil)
		lf.u.AddVec(lf.x, fit.theta)
		// Roots: Cov ξ = B⁻¹ + G C₀ G', u = θ + Lξ.
		var lb, g, lg, tl0, a, b mat.Dense
		lb.Mul(l, choleskyRoot(lf.binv))
		g.Mul(lf.binv, lf.lpl0)
		lg.Mul(l, &g)
		tl0.Sub(l0, &lg)
		a.Mul(&lg, etaRoot)
		b.Mul(&tl0, etaRoot)
		lf.xRoot = beside(&lb, &a)
		lf.uRoot = beside(&lb, &b)
	})
	return fit, nil
}

func beside(a, b *mat.Dense) *mat.Dense {
	n, ca := a.Dims()
	_, cb := b.Dims()
	out := mat.NewDense(n, ca+cb, nil)
	out.Slice(0, n, 0, ca).(*mat.Dense).Copy(a)
	out.Slice(0, n, ca, ca+cb).(*mat.Dense).Copy(b)
	return out
}

// choleskyRoot returns a root of a positive definite matrix, or its eigenroot
// when rounding has made it indefinite.
func choleskyRoot(c *mat.SymDense) *mat.Dense {
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return eigenRoot(c, 1e-12)
	}
	var l mat.TriDense
	chol.LTo(&l)
	return mat.DenseCopyOf(&l)
}

// seatPosterior is the position of one worn seating and what the maximisation
// needs from it.
type seatPosterior struct {
	pos       [headsetDim]float64
	cov       *mat.SymDense
	own       *mat.VecDense // w: the seating's own part
	ownCov    *mat.SymDense
	chi2, dof float64   // residual in units of R, with its expected share
	resid     []float64 // z − Hu − Jw
	given     *mat.SymDense // Cov(w|u)
	root      *mat.Dense    // Cov(d) = root·root' + given; the columns of uRoot
}

// seating computes the posterior of one worn seating.
func (p *panel) seating(fit *panelFit, li int, w *wornSeating) seatPosterior {
	n2 := 2 * p.bands.n
	idx := p.index(w.model)
	lf := &fit.per[li]
	u := mat.NewVecDense(len(idx), nil)
	_, cols := lf.uRoot.Dims()
	root := mat.NewDense(len(idx), cols, nil)
	for a, i := range idx {
		u.SetVec(a, lf.u.AtVec(i))
		root.SetRow(a, lf.uRoot.RawRowView(i))
	}
	h := mat.NewDense(n2, len(idx), nil)
	for r := range n2 {
		h.Set(r, r, 1)
		for a := range headsetDim {
			h.Set(r, n2+a, w.slope.At(r, a))
		}
	}
	d := p.models[w.model].within
	var hu, rz, gainJ, dj mat.VecDense
	hu.MulVec(h, u)
	rz.SubVec(w.z, &hu)
	var jw, djw mat.Dense // K = D J' W
	jw.Mul(w.slope.T(), w.weight)
	djw.Mul(d, &jw)
	gainJ.MulVec(&djw, &rz)
	out := seatPosterior{own: mat.NewVecDense(headsetDim, nil)}
	out.own.CopyVec(&gainJ)
	// Cov(w|u) = D − K J D.
	var kj, given mat.Dense
	kj.Mul(&djw, w.slope)
	given.Mul(&kj, d)
	given.Sub(d, &given)
	out.given = symmetric(&given)
	var hroot, kroot mat.Dense
	hroot.Mul(h, root)
	kroot.Mul(&djw, &hroot)
	var oc mat.Dense
	oc.Mul(&kroot, kroot.T())
	oc.Add(&oc, &given)
	out.ownCov = symmetric(&oc)
	// d = t + w.
	troot := mat.NewDense(headsetDim, cols, nil)
	for a := range headsetDim {
		troot.SetRow(a, root.RawRowView(n2+a))
		out.pos[a] = u.AtVec(n2+a) + out.own.AtVec(a)
	}
	troot.Sub(troot, &kroot)
	var dc mat.Dense
	dc.Mul(troot, troot.T())
	dc.Add(&dc, &given)
	out.cov = symmetric(&dc)
	out.root = troot
	// Residual.
	dj.MulVec(w.slope, out.own)
	res := mat.NewVecDense(n2, nil)
	res.SubVec(&rz, &dj)
	out.resid = res.RawVector().Data
	var jk, eroot, re, rj mat.Dense
	jk.Mul(w.slope, &kroot)
	eroot.Sub(&hroot, &jk)
	re.Mul(w.inner, &eroot)
	for i := range n2 {
		for j := range cols {
			out.chi2 += re.At(i, j) * eroot.At(i, j)
		}
	}
	rj.Mul(w.inner, w.slope)
	var jgj mat.Dense
	jgj.Mul(w.slope.T(), &rj)
	var tr mat.Dense
	tr.Mul(&jgj, &given)
	out.chi2 += mat.Trace(&tr)
	var wr mat.VecDense
	wr.MulVec(w.inner, res)
	out.chi2 += mat.Dot(res, &wr)
	for e := range 2 {
		if !w.obs.present[e] {
			continue
		}
		out.dof -= 2
		for _, v := range w.obs.variance[e] {
			if v < missingVar {
				out.dof++
			}
		}
	}
	return out
}

// moveLinearisation sets every seating's linearisation point to its estimate,
// kept within the survey's reach.
func (p *panel) moveLinearisation(fit *panelFit) {
	for li, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			sp := p.seating(fit, li, w)
			for e := range 2 {
				sv := p.models[w.model].ears[e].survey
				if sv == nil {
					continue
				}
				reach := sv.reach()
				for a := range 3 {
					lim := 1.3*reach[a] + 0.5
					w.at[3*e+a] = math.Max(-lim, math.Min(lim, sp.pos[3*e+a]))
				}
			}
		}
	}
}
