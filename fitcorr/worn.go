package fitcorr

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
)

// wornResult is what the panel says about one model.
type wornResult struct {
	worn    Worn
	mean    [headsetDim]float64 // mean of the panel's worn positions
	meanCov *mat.SymDense
	offsets []Offset
	between *mat.SymDense
	within  *mat.SymDense
	doubts  []string // worn seatings that hardly count, and why
}

// newPanel gathers everybody's worn seatings of the models that have a survey.
func newPanel(setups []*modelSetup, bareRows []Seating, stated capture.ReadingUncertainty) *panel {
	p := &panel{bands: newPositionBands(), stated: stated}
	byName := map[string]*listener{}
	get := func(subject string) *listener {
		l, ok := byName[subject]
		if !ok {
			l = &listener{subject: subject}
			byName[subject] = l
			p.listeners = append(p.listeners, l)
		}
		return l
	}
	for _, su := range setups {
		m := len(p.models)
		used := false
		for i, s := range su.seatings {
			if !s.Worn() {
				continue
			}
			o := observe(s, i, &su.models)
			if !o.present[0] && !o.present[1] {
				continue
			}
			l := get(s.Subject)
			w := wornSeating{model: m, id: i, obs: o, read: su.mark.readOf(s)}
			l.worn = append(l.worn, w)
			used = true
			if w.read != nil {
				p.read, p.stated.OneMM = true, su.mark.One
			}
		}
		if used {
			p.models = append(p.models, &panelModel{setup: su, ears: su.models, mark: su.mark})
			p.addDisplaced(m, su)
		}
	}
	if len(p.models) == 0 {
		return p
	}
	p.addBare(bareRows, byName)
	p.poolNoise()
	p.reading = p.stated
	p.width = len(p.models)
	if p.bare {
		p.width++
	}
	return p
}

// poolNoise gives all worn seatings of a model, and all bare ears, the mean
// noise variance of their bands. Noise is the least of the variances, and
// listeners alike in design become alike in their equations.
func (p *panel) poolNoise() {
	pool := func(each func(visit func(v []float64))) {
		sum, count := make([]float64, p.bands.n), make([]float64, p.bands.n)
		each(func(v []float64) {
			for r, x := range v {
				if x < missingVar {
					sum[r] += x
					count[r]++
				}
			}
		})
		each(func(v []float64) {
			for r, x := range v {
				if x < missingVar {
					v[r] = sum[r] / count[r]
				}
			}
		})
	}
	for e := range 2 {
		for m := range p.models {
			pool(func(visit func([]float64)) {
				for _, l := range p.listeners {
					for i := range l.worn {
						if l.worn[i].model == m {
							visit(l.worn[i].obs.variance[e])
						}
					}
				}
			})
		}
		pool(func(visit func([]float64)) {
			for _, l := range p.listeners {
				for i := range l.bare {
					visit(l.bare[i].variance[e])
				}
			}
		})
	}
}

// addBare gives each listener the bare-ear differences from the fixture's mean.
func (p *panel) addBare(rows []Seating, byName map[string]*listener) {
	var ref, refVar, refCount [2][]float64
	for e := range 2 {
		ref[e], refVar[e], refCount[e] = make([]float64, p.bands.n), make([]float64, p.bands.n), make([]float64, p.bands.n)
	}
	for _, s := range rows {
		if !s.OnFixture() {
			continue
		}
		for e := range 2 {
			lv, va := p.bands.join(s.Ears[e], nil)
			for r := range lv {
				if va[r] < missingVar {
					ref[e][r] += lv[r]
					refVar[e][r] += va[r]
					refCount[e][r]++
				}
			}
		}
	}
	for _, s := range rows {
		l := byName[s.Subject]
		if l == nil {
			continue
		}
		var b bareReference
		for e := range 2 {
			lv, va := p.bands.join(s.Ears[e], nil)
			n := 0
			for r := range lv {
				c := refCount[e][r]
				if va[r] >= missingVar || c == 0 {
					lv[r], va[r] = 0, missingVar
					continue
				}
				lv[r] -= ref[e][r] / c
				va[r] += refVar[e][r] / (c * c)
				n++
			}
			b.level[e], b.variance[e] = lv, va
			b.present[e] = 3*n >= p.bands.n
		}
		if b.present[0] || b.present[1] {
			l.bare = append(l.bare, b)
			p.bare = true
		}
	}
}

// estimateWorn fits the panel and returns its results by the name of the model;
// a model that nobody wore has none.
func estimateWorn(ctx context.Context, models []*modelSetup, bareRows []Seating, opt Options) (map[string]*wornResult, error) {
	p := newPanel(models, bareRows, readingOr(opt.Reading))
	if len(p.models) == 0 {
		return nil, nil
	}
	fit, err := p.estimate(ctx, opt.Jobs)
	if err != nil {
		return nil, err
	}
	out := map[string]*wornResult{}
	for m, pm := range p.models {
		out[pm.setup.name] = p.result(fit, m, opt)
	}
	return out, nil
}

// result reads one model's worn distribution and worn offsets off the posterior.
func (p *panel) result(fit *panelFit, m int, opt Options) *wornResult {
	pm := p.models[m]
	su := pm.setup
	res := &wornResult{between: fit.spread.between[m], within: pm.within}
	prior := mat.NewSymDense(headsetDim, nil)
	prior.AddSym(res.between, res.within)
	priorWide := mat.NewSymDense(headsetDim, nil)
	priorWide.AddSym(prior, priorMean())
	var listeners float64
	for _, l := range p.listeners {
		if l.wears(m) {
			listeners++
		}
	}
	_, total := fit.per[0].uRoot.Dims()
	own := total - fit.etaCov.SymmetricDim() // first columns: a listener's own uncertainty
	counts := make([]float64, len(p.listeners))
	for li, l := range p.listeners {
		for i := range l.worn {
			if l.worn[i].model == m {
				counts[li]++
			}
		}
	}
	// The mean of all listeners' means: d = lever·u + const, u = θ + x.
	levers := make([]*mat.Dense, len(p.listeners))
	res.meanCov = mat.NewSymDense(headsetDim, nil)
	byIndex := map[int]Offset{}
	p.eachSeating(fit, m, func(li int, w *wornSeating, b *blockPosterior, sp *seatPosterior) {
		byIndex[w.id] = p.wornOffset(sp, w, su, priorWide, opt)
		share := 1 / (listeners * counts[li])
		for a := range headsetDim {
			res.mean[a] += share * sp.pos[a]
			for b := a; b < headsetDim; b++ {
				addSym(res.meanCov, a, b, share*share*sp.given.At(a, b))
			}
		}
		var lr mat.Dense
		lr.Mul(sp.lever, b.root)
		lr.Scale(share, &lr)
		if levers[li] == nil {
			levers[li] = mat.NewDense(headsetDim, total, nil)
		}
		levers[li].Add(levers[li], &lr)
	})
	shared := mat.NewDense(headsetDim, total-own, nil)
	for _, lv := range levers {
		if lv == nil {
			continue
		}
		o := lv.Slice(0, headsetDim, 0, own)
		var v mat.Dense
		v.Mul(o, o.T())
		res.meanCov.AddSym(res.meanCov, symmetric(&v))
		shared.Add(shared, lv.Slice(0, headsetDim, own, total))
	}
	var v mat.Dense
	v.Mul(shared, shared.T())
	res.meanCov.AddSym(res.meanCov, symmetric(&v))

	seatings := 0
	for i := range su.seatings {
		if o, ok := byIndex[i]; ok {
			res.offsets = append(res.offsets, o)
			seatings++
		}
	}
	res.worn = Worn{Listeners: int(listeners), Seatings: seatings}
	res.worn.EarMean, res.worn.Mean = estimates(res.mean, res.meanCov, priorMean())
	res.worn.Separation = p.separation()
	res.worn.Readings = p.readings(m)
	res.doubts = p.doubts(m, su)
	// The covariances are learned from the listeners.
	df := math.Max(3, listeners)
	mean := p.meanDF(m, res.worn.Mean, df)
	res.worn.Mean.DF, res.worn.EarMean[0].DF, res.worn.EarMean[1].DF = mean, mean, mean
	for i := range res.offsets {
		o := &res.offsets[i]
		o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
	}
	res.worn.SamplingSD, res.worn.BootstrapSD = p.bootstrapMean(fit, m, opt)
	res.worn.People = p.people(fit, m, df)
	p.confoundMean(fit, m, &res.worn, res.meanCov)
	for a := range 3 {
		bc := res.between.At(a, 3+a) + (res.between.At(a, a)-res.between.At(a, 3+a))/2
		wc := res.within.At(a, 3+a) + (res.within.At(a, a)-res.within.At(a, 3+a))/2
		res.worn.BetweenSD[a], res.worn.WithinSD[a] = math.Sqrt(bc), math.Sqrt(wc)
		res.worn.BetweenSE[a] = res.worn.BetweenSD[a] / math.Sqrt(2*math.Max(1, listeners-1))
		res.worn.WithinSE[a] = res.worn.WithinSD[a] / math.Sqrt(2*math.Max(1, float64(seatings)-listeners))
	}
	return res
}

// wornOffset is the offset of one worn seating, with the share of its variance
// that knowing the ear would take away.
func (p *panel) wornOffset(sp *seatPosterior, w *wornSeating, su *modelSetup, prior mat.Symmetric, opt Options) Offset {
	s := su.seatings[w.id]
	o := Offset{ID: s.ID, Subject: s.Subject, Seating: s.Number}
	o.Ears, o.Headset = estimates(sp.pos, sp.cov, prior)
	known := knownEar(w, prior)
	ke, kh := estimates(sp.pos, known, prior)
	for a := range 3 {
		o.Headset.Confounded[a] = share(kh.Cov[a][a], o.Headset.Cov[a][a])
		for e := range 2 {
			o.Ears[e].Confounded[a] = share(ke[e].Cov[a][a], o.Ears[e].Cov[a][a])
		}
	}
	n := p.bands.n
	for e := range 2 {
		o.MisfitP[e] = 1
		if w.obs.present[e] {
			o.MisfitP[e] = residualTail(sp.resid[e*n:(e+1)*n], w, e, n)
		}
	}
	return o
}

// knownEar is the covariance of a seating's position if the ear were known.
func knownEar(w *wornSeating, prior mat.Symmetric) *mat.SymDense {
	var wj, info, pinv, cov mat.Dense
	wj.Mul(w.inner, w.slope)
	info.Mul(w.slope.T(), &wj)
	if pinv.Inverse(prior) == nil {
		info.Add(&info, &pinv)
	}
	if cov.Inverse(&info) != nil {
		return mat.NewSymDense(headsetDim, nil)
	}
	return symmetric(&cov)
}

func share(known, all float64) float64 {
	if all <= 0 {
		return 0
	}
	return math.Max(0, math.Min(1, 1-known/all))
}

// confoundMean sets the confounded share of the worn mean: all but what the
// seatings alone, with known ears, would leave.
func (p *panel) confoundMean(fit *panelFit, m int, w *Worn, cov *mat.SymDense) {
	known := mat.NewSymDense(headsetDim, nil)
	var count float64
	for _, l := range p.listeners {
		for i := range l.worn {
			if l.worn[i].model == m {
				known.AddSym(known, knownEar(&l.worn[i], fit.spread.between[m]))
				count++
			}
		}
	}
	known.ScaleSym(1/(count*count), known)
	var zero [headsetDim]float64
	ke, kh := estimates(zero, known, priorMean())
	for a := range 3 {
		w.Mean.Confounded[a] = share(kh.Cov[a][a], w.Mean.Cov[a][a])
		for e := range 2 {
			w.EarMean[e].Confounded[a] = share(ke[e].Cov[a][a], w.EarMean[e].Cov[a][a])
		}
	}
}

// separation names what told ears from positions, strongest first.
func (p *panel) separation() []string {
	var out []string
	if p.read {
		out = append(out, readPositions)
	}
	if p.bare {
		out = append(out, "bare-ear reference")
	}
	if len(p.models) > 1 {
		out = append(out, "shared panel")
	}
	if p.displacedListeners() {
		out = append(out, "displaced listeners")
	}
	return append(out, "prior")
}
