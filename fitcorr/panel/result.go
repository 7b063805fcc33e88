package panel

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// result reads one model's worn distribution and worn offsets off the posterior.
func (fit *panelFit) result(m int, opt seat.Options) *Result {
	pm := fit.models[m]
	su := pm.setup
	res := &Result{between: fit.cov.Between[m], within: pm.within}
	prior := mat.NewSymDense(placing.HeadsetDim, nil)
	prior.AddSym(res.between, res.within)
	prior.AddSym(prior, placing.WornPrior())
	byIndex := map[int]position.Offset{}
	res.Mean, res.MeanCov = fit.sampleMean(m, func(w *wornSeating, sp *seatPosterior) {
		byIndex[w.id] = fit.wornOffset(sp, w, su, prior, opt)
	})
	if at, variance, ok := readApart(su, fit.reading); ok {
		both := placing.Normal{Pos: res.Mean, Cov: res.MeanCov}.ReadApart(at, variance)
		res.Mean, res.MeanCov = both.Pos, both.Cov
	}
	for i := range su.Seatings {
		if o, ok := byIndex[i]; ok {
			res.Offsets = append(res.Offsets, o)
		}
	}
	listeners := float64(fit.wearers(m))
	res.Worn = Worn{Listeners: int(listeners), Seatings: len(res.Offsets)}
	res.Worn.EarMean, res.Worn.Mean = placing.Estimates(res.Mean, res.MeanCov, placing.WornPrior())
	res.Worn.Separation = fit.separation()
	res.Worn.Readings = fit.readings(m)
	res.Doubts = append(append(fit.doubts(m, su), fit.unsettled()...), fit.notes...)
	// The covariances are learned from the listeners.
	df := math.Max(3, listeners)
	mean := fit.meanDF(m, res.Worn.Mean, df)
	res.Worn.Mean.DF, res.Worn.EarMean[0].DF, res.Worn.EarMean[1].DF = mean, mean, mean
	for i := range res.Offsets {
		o := &res.Offsets[i]
		o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
	}
	res.Worn.SamplingSD, res.Worn.BootstrapSD = fit.bootstrapMean(m, opt)
	res.Worn.People = fit.people(m, df)
	fit.confoundMean(m, &res.Worn, res.MeanCov)
	for a := range 3 {
		bc := res.between.At(a, 3+a) + (res.between.At(a, a)-res.between.At(a, 3+a))/2
		wc := res.within.At(a, 3+a) + (res.within.At(a, a)-res.within.At(a, 3+a))/2
		res.Worn.BetweenSD[a], res.Worn.WithinSD[a] = math.Sqrt(bc), math.Sqrt(wc)
		res.Worn.BetweenSE[a] = res.Worn.BetweenSD[a] / math.Sqrt(2*math.Max(1, listeners-1))
		res.Worn.WithinSE[a] = res.Worn.WithinSD[a] / math.Sqrt(2*math.Max(1, float64(len(res.Offsets))-listeners))
	}
	return res
}

// wearers is how many listeners wore model m.
func (fit *panelFit) wearers(m int) (n int) {
	for _, l := range fit.listeners {
		if l.wears(m) {
			n++
		}
	}
	return n
}

// sampleMean is the mean position of the panel's own seatings of model m, every listener
// counting alike, and its covariance (mm², degrees²). Each is told the posterior of every
// seating, in order.
func (fit *panelFit) sampleMean(m int, each func(w *wornSeating, sp *seatPosterior)) (mean [placing.HeadsetDim]float64, cov *mat.SymDense) {
	listeners := float64(fit.wearers(m))
	counts := make([]float64, len(fit.listeners))
	for li, l := range fit.listeners {
		for i := range l.worn {
			if l.worn[i].model == m {
				counts[li]++
			}
		}
	}
	// A listener's mean is a linear function of u: what is not known of it is of the
	// listener's own, or follows what all share.
	maps := make([]*mat.Dense, len(fit.listeners))
	cov = mat.NewSymDense(placing.HeadsetDim, nil)
	fit.each(m, func(li int, w *wornSeating, sp *seatPosterior) {
		each(w, sp)
		weight := 1 / (listeners * counts[li])
		for a := range placing.HeadsetDim {
			mean[a] += weight * sp.pos[a]
			for b := a; b < placing.HeadsetDim; b++ {
				stats.AddSym(cov, a, b, weight*weight*sp.given.At(a, b))
			}
		}
		var part mat.Dense
		part.Scale(weight, sp.jacobian)
		if maps[li] != nil {
			part.Add(maps[li], &part)
		}
		maps[li] = &part
	})
	_, cols := fit.thetaRoot.Dims()
	shared := mat.NewDense(placing.HeadsetDim, cols, nil)
	for li, of := range maps {
		if of == nil {
			continue
		}
		var half, own, root mat.Dense
		b := fit.per[li].blocks[m]
		half.Mul(of, b.own)
		own.Mul(&half, of.T())
		cov.AddSym(cov, stats.Symmetric(&own))
		root.Mul(of, b.shared)
		shared.Add(shared, &root)
	}
	var v mat.Dense
	v.Mul(shared, shared.T())
	cov.AddSym(cov, stats.Symmetric(&v))
	return mean, cov
}

// wornOffset is the offset of one worn seating, with the share of its variance
// that knowing the ear would take away.
func (fit *panelFit) wornOffset(sp *seatPosterior, w *wornSeating, su *position.Model, prior mat.Symmetric, opt seat.Options) position.Offset {
	s := su.Seatings[w.id]
	o := position.Offset{ID: s.ID, Subject: s.Subject, Seating: s.Number}
	o.Ears, o.Headset = placing.Estimates(sp.pos, sp.cov(), prior)
	known := fit.knownEar(w, prior)
	ke, kh := placing.Estimates(sp.pos, known, prior)
	for a := range 3 {
		o.Headset.Confounded[a] = confoundedShare(kh.Cov[a][a], o.Headset.Cov[a][a])
		for e := range 2 {
			o.Ears[e].Confounded[a] = confoundedShare(ke[e].Cov[a][a], o.Ears[e].Cov[a][a])
		}
	}
	n := fit.Bands.N
	for e := range 2 {
		o.MisfitP[e] = 1
		if w.obs.Present[e] {
			o.MisfitP[e] = residualTail(sp.resid[e*n:(e+1)*n], w, e, n)
		}
	}
	return o
}

// knownEar is the covariance of a seating's position if the ear were known.
func (p *panel) knownEar(w *wornSeating, prior mat.Symmetric) *mat.SymDense {
	var info, pinv, cov mat.Dense
	if w.read != nil {
		info.Mul(middle.T(), middle)
		info.Scale(1/p.readingVariance(w), &info)
		info.Add(&info, w.kind.known)
	} else {
		info.CloneFrom(w.kind.known)
	}
	if pinv.Inverse(prior) == nil {
		info.Add(&info, &pinv)
	}
	if cov.Inverse(&info) != nil {
		return mat.NewSymDense(placing.HeadsetDim, nil)
	}
	return stats.Symmetric(&cov)
}

// confoundedShare is the share of the variance all that knowing the ear takes away.
func confoundedShare(known, all float64) float64 {
	if all <= 0 {
		return 0
	}
	return math.Max(0, math.Min(1, 1-known/all))
}

// confoundMean sets the confounded share of the worn mean: all but what the
// seatings alone, with known ears, would leave.
func (fit *panelFit) confoundMean(m int, w *Worn, cov *mat.SymDense) {
	known := mat.NewSymDense(placing.HeadsetDim, nil)
	var count float64
	for _, l := range fit.listeners {
		for i := range l.worn {
			if l.worn[i].model == m {
				known.AddSym(known, fit.knownEar(&l.worn[i], fit.cov.Between[m]))
				count++
			}
		}
	}
	known.ScaleSym(1/(count*count), known)
	var zero [placing.HeadsetDim]float64
	ke, kh := placing.Estimates(zero, known, placing.WornPrior())
	for a := range 3 {
		w.Mean.Confounded[a] = confoundedShare(kh.Cov[a][a], w.Mean.Cov[a][a])
		for e := range 2 {
			w.EarMean[e].Confounded[a] = confoundedShare(ke[e].Cov[a][a], w.EarMean[e].Cov[a][a])
		}
	}
}

// separation names what told ears from positions, strongest first.
func (fit *panelFit) separation() []Separation {
	var out []Separation
	if fit.Read {
		out = append(out, ByReadings)
	}
	if fit.Bare > 0 {
		out = append(out, ByBareEars)
	}
	if len(fit.models) > 1 {
		out = append(out, BySharedPanel)
	}
	if fit.displacedListeners() {
		out = append(out, ByDisplacedListeners)
	}
	return append(out, ByPrior)
}

// meanDF is the degrees of freedom of a worn mean. What listeners teach has df;
// what the lab states of its readings on the fixture, of the landmark and of the
// mark, has reading.StatedDF each, and where readings are used that is most of it
// (Welch and Satterthwaite: JCGM 100:2008, G.4). A source counts by the weight of the readings in the mean, the variance
// left over what the readings alone would leave.
func (fit *panelFit) meanDF(m int, mean seat.Estimate, df float64) float64 {
	if !fit.Read {
		return df
	}
	var heads, count float64
	for _, l := range fit.listeners {
		k := 0.0
		for i := range l.worn {
			if l.worn[i].model == m && l.worn[i].read != nil {
				k += l.worn[i].worth
			}
		}
		if k > 0 {
			heads++
			count += k
		}
	}
	if heads == 0 {
		return df
	}
	var all, learned, squares float64 // squares: Σ variance² of what is stated
	r := fit.reading
	for a := range placing.ReadDim {
		landmark, mark := r.FixtureLandmarkMM*r.FixtureLandmarkMM, fit.models[m].mark.Variance[a]
		stated := landmark + mark
		alone := stated + r.LandmarkMM*r.LandmarkMM/heads + r.OneMM*r.OneMM/count
		v := mean.Cov[a][a]
		weight := math.Min(1, v/alone)
		all += v
		learned += math.Max(0, v-weight*weight*stated)
		squares += (landmark*landmark + mark*mark) / (stated * stated * placing.ReadDim)
	}
	return stats.PooledDF(learned, df, all-learned, reading.StatedDF/squares)
}

// people is the mean position of the people of model m, both ears together.
func (fit *panelFit) people(m int, df float64) seat.Estimate {
	e := seat.Estimate{DF: df}
	rows := fit.peopleRows(m)
	var cov mat.Dense
	cov.Mul(rows, rows.T())
	prior := placing.WornPrior()
	position, confounded := fit.Position(m), fit.Confounded(m)
	for a := range 3 {
		for i := a; i < placing.HeadsetDim; i += 3 {
			e.Value[a] += (fit.theta.AtVec(position+i) - fit.theta.AtVec(confounded+i)) / 2
		}
		for b := range 3 {
			e.Cov[a][b] = cov.At(a, b)
		}
		e.Seen[a] = e.Cov[a][a] < 0.5*(prior.At(a, a)+prior.At(a, 3+a))/2
	}
	return e
}

// unsettled says so when the rounds ended before the fit had settled.
func (f *panelFit) unsettled() []string {
	if f.change < convergedDeviance {
		return nil
	}
	return []string{fmt.Sprintf("how people's ears and positions differ had not settled after %d rounds of estimation (the deviance still changes by %.2g per level and round, %g is the limit): intervals of worn positions are rough; more listeners or seatings would tell",
		f.rounds, f.change, convergedDeviance)}
}

// peopleRows is a root of the covariance of the mean position of the people of model m, both ears
// together: 3 × columns of T, of which it is a linear function.
func (fit *panelFit) peopleRows(m int) *mat.Dense {
	_, cols := fit.thetaRoot.Dims()
	rows := mat.NewDense(3, cols, nil)
	for a := range 3 {
		row := rows.RawRowView(a)
		for i := a; i < placing.HeadsetDim; i += 3 {
			floats.AddScaled(row, 0.5, fit.thetaRoot.RawRowView(fit.Position(m)+i))
			floats.AddScaled(row, -0.5, fit.thetaRoot.RawRowView(fit.Confounded(m)+i))
		}
	}
	return rows
}
