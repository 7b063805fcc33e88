package panel

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Result is what the panel says about one model.
type Result struct {
	Worn    Worn
	Mean    [position.HeadsetDim]float64 // mean of the panel's worn positions
	MeanCov *mat.SymDense
	Offsets []position.Offset
	between *mat.SymDense
	within  *mat.SymDense
	Doubts  []string // worn seatings that hardly count, and why
}

// newPanel gathers everybody's worn seatings of the models that have a survey.
func newPanel(setups []*position.Model, bareRows []seat.Seating, stated capture.ReadingUncertainty) *panel {
	p := &panel{bands: survey.NewBands(), stated: stated}
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
		for i, s := range su.Seatings {
			if !s.Worn() {
				continue
			}
			o := position.Observe(s, i, &su.Ears)
			if !o.Present[0] && !o.Present[1] {
				continue
			}
			l := get(s.Subject)
			w := wornSeating{model: m, id: i, obs: o, read: su.Mark.ReadOf(s)}
			l.worn = append(l.worn, w)
			used = true
			if w.read != nil {
				p.read, p.stated.OneMM = true, su.Mark.One
			}
		}
		if used {
			p.models = append(p.models, &panelModel{setup: su, ears: su.Ears, mark: su.Mark})
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
		sum, count := make([]float64, p.bands.N), make([]float64, p.bands.N)
		each(func(v []float64) {
			for r, x := range v {
				if x < survey.MissingVar {
					sum[r] += x
					count[r]++
				}
			}
		})
		each(func(v []float64) {
			for r, x := range v {
				if x < survey.MissingVar {
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
							visit(l.worn[i].obs.Variance[e])
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
func (p *panel) addBare(rows []seat.Seating, byName map[string]*listener) {
	var ref, refVar, refCount [2][]float64
	for e := range 2 {
		ref[e], refVar[e], refCount[e] = make([]float64, p.bands.N), make([]float64, p.bands.N), make([]float64, p.bands.N)
	}
	for _, s := range rows {
		if !s.OnFixture() {
			continue
		}
		for e := range 2 {
			lv, va := p.bands.Join(s.Ears[e], nil)
			for r := range lv {
				if va[r] < survey.MissingVar {
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
			lv, va := p.bands.Join(s.Ears[e], nil)
			n := 0
			for r := range lv {
				c := refCount[e][r]
				if va[r] >= survey.MissingVar || c == 0 {
					lv[r], va[r] = 0, survey.MissingVar
					continue
				}
				lv[r] -= ref[e][r] / c
				va[r] += refVar[e][r] / (c * c)
				n++
			}
			b.level[e], b.variance[e] = lv, va
			b.present[e] = 3*n >= p.bands.N
		}
		if b.present[0] || b.present[1] {
			l.bare = append(l.bare, b)
			p.bare = true
		}
	}
}

// Fit fits the panel and returns its results by the name of the model;
// a model that nobody wore has none.
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
		out[pm.setup.Name] = p.result(fit, m, opt)
	}
	return out, nil
}

// result reads one model's worn distribution and worn offsets off the posterior.
func (p *panel) result(fit *panelFit, m int, opt seat.Options) *Result {
	pm := p.models[m]
	su := pm.setup
	res := &Result{between: fit.spread.between[m], within: pm.within}
	prior := mat.NewSymDense(position.HeadsetDim, nil)
	prior.AddSym(res.between, res.within)
	priorWide := mat.NewSymDense(position.HeadsetDim, nil)
	priorWide.AddSym(prior, position.WornPrior())
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
	res.MeanCov = mat.NewSymDense(position.HeadsetDim, nil)
	byIndex := map[int]position.Offset{}
	p.eachSeating(fit, m, func(li int, w *wornSeating, b *blockPosterior, sp *seatPosterior) {
		byIndex[w.id] = p.wornOffset(sp, w, su, priorWide, opt)
		share := 1 / (listeners * counts[li])
		for a := range position.HeadsetDim {
			res.Mean[a] += share * sp.pos[a]
			for b := a; b < position.HeadsetDim; b++ {
				stats.AddSym(res.MeanCov, a, b, share*share*sp.given.At(a, b))
			}
		}
		var lr mat.Dense
		lr.Mul(sp.lever, b.root)
		lr.Scale(share, &lr)
		if levers[li] == nil {
			levers[li] = mat.NewDense(position.HeadsetDim, total, nil)
		}
		levers[li].Add(levers[li], &lr)
	})
	shared := mat.NewDense(position.HeadsetDim, total-own, nil)
	for _, lv := range levers {
		if lv == nil {
			continue
		}
		o := lv.Slice(0, position.HeadsetDim, 0, own)
		var v mat.Dense
		v.Mul(o, o.T())
		res.MeanCov.AddSym(res.MeanCov, stats.Symmetric(&v))
		shared.Add(shared, lv.Slice(0, position.HeadsetDim, own, total))
	}
	var v mat.Dense
	v.Mul(shared, shared.T())
	res.MeanCov.AddSym(res.MeanCov, stats.Symmetric(&v))

	seatings := 0
	for i := range su.Seatings {
		if o, ok := byIndex[i]; ok {
			res.Offsets = append(res.Offsets, o)
			seatings++
		}
	}
	res.Worn = Worn{Listeners: int(listeners), Seatings: seatings}
	res.Worn.EarMean, res.Worn.Mean = position.Estimates(res.Mean, res.MeanCov, position.WornPrior())
	res.Worn.Separation = p.separation()
	res.Worn.Readings = p.readings(m)
	res.Doubts = p.doubts(m, su)
	// The covariances are learned from the listeners.
	df := math.Max(3, listeners)
	mean := p.meanDF(m, res.Worn.Mean, df)
	res.Worn.Mean.DF, res.Worn.EarMean[0].DF, res.Worn.EarMean[1].DF = mean, mean, mean
	for i := range res.Offsets {
		o := &res.Offsets[i]
		o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
	}
	res.Worn.SamplingSD, res.Worn.BootstrapSD = p.bootstrapMean(fit, m, opt)
	res.Worn.People = p.people(fit, m, df)
	p.confoundMean(fit, m, &res.Worn, res.MeanCov)
	for a := range 3 {
		bc := res.between.At(a, 3+a) + (res.between.At(a, a)-res.between.At(a, 3+a))/2
		wc := res.within.At(a, 3+a) + (res.within.At(a, a)-res.within.At(a, 3+a))/2
		res.Worn.BetweenSD[a], res.Worn.WithinSD[a] = math.Sqrt(bc), math.Sqrt(wc)
		res.Worn.BetweenSE[a] = res.Worn.BetweenSD[a] / math.Sqrt(2*math.Max(1, listeners-1))
		res.Worn.WithinSE[a] = res.Worn.WithinSD[a] / math.Sqrt(2*math.Max(1, float64(seatings)-listeners))
	}
	return res
}

// wornOffset is the offset of one worn seating, with the share of its variance
// that knowing the ear would take away.
func (p *panel) wornOffset(sp *seatPosterior, w *wornSeating, su *position.Model, prior mat.Symmetric, opt seat.Options) position.Offset {
	s := su.Seatings[w.id]
	o := position.Offset{ID: s.ID, Subject: s.Subject, Seating: s.Number}
	o.Ears, o.Headset = position.Estimates(sp.pos, sp.cov, prior)
	known := knownEar(w, prior)
	ke, kh := position.Estimates(sp.pos, known, prior)
	for a := range 3 {
		o.Headset.Confounded[a] = share(kh.Cov[a][a], o.Headset.Cov[a][a])
		for e := range 2 {
			o.Ears[e].Confounded[a] = share(ke[e].Cov[a][a], o.Ears[e].Cov[a][a])
		}
	}
	n := p.bands.N
	for e := range 2 {
		o.MisfitP[e] = 1
		if w.obs.Present[e] {
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
		return mat.NewSymDense(position.HeadsetDim, nil)
	}
	return stats.Symmetric(&cov)
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
	known := mat.NewSymDense(position.HeadsetDim, nil)
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
	var zero [position.HeadsetDim]float64
	ke, kh := position.Estimates(zero, known, position.WornPrior())
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
		out = append(out, position.ReadPositions)
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
