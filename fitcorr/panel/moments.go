package panel

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/workers"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// maximise returns the covariances that the expected second moments give, and sets
// each model's within-listener covariance and scatter ratio.
func (fit *panelFit) maximise(ctx context.Context, jobs int) *effects.Covariances {
	s := &effects.Covariances{}
	_ = workers.All(ctx, 3, jobs, func(i int) { // the next round finds that ctx has ended
		switch {
		case i == 0:
			s.Sum, s.Fixture[0] = fit.maximiseEars(0)
		case i == 1:
			s.Diff, s.Fixture[1] = fit.maximiseEars(1)
		case fit.Read:
			fit.maximiseReading()
		}
	})
	fit.maximiseBetween(s)
	fit.maximiseWithin() // last: it changes what a seating's posterior is made of
	return s
}

// maximiseBetween pools the listeners' mean positions over models — what the
// ears share and what each has of its own, per axis — and learns the confounded
// part from what a listener's apparent positions have in common over the models.
func (fit *panelFit) maximiseBetween(s *effects.Covariances) {
	const dim = placing.HeadsetDim
	var pos, confounded axisMoments
	for i := range fit.per {
		lf := &fit.per[i]
		for m := range fit.models {
			var mean, ear [dim]float64
			for a := range dim {
				ear[a] = lf.x.AtVec(fit.Confounded(m) + a)
				mean[a] = lf.x.AtVec(fit.Position(m)+a) - ear[a]
			}
			pos.add(mean, lf.blocks[m].x, 0)
			confounded.add(ear, lf.blocks[m].x, lf.kindsFrom()-dim)
		}
	}
	b := pos.covariance(priorListeners, priorBetween, priorBetweenOwn, 1)
	for range fit.models {
		s.Between = append(s.Between, b)
	}
	// Each model shows the shared part and its own; both scale with the covariance.
	weight := priorConfoundedListeners * float64(len(fit.models))
	s.Confounded = confounded.covariance(weight, priorConfounded, priorConfoundedOwn, 1/(1+effects.ConfoundedOwn))
}

// axisMoments sums squares per axis (mm², degrees²): of what both ears share and
// of what each has of its own.
type axisMoments struct {
	common, own [3]float64
	count       float64
}

// add adds those of a position with a mean, of which cov holds the covariance from an entry on.
func (s *axisMoments) add(mean [placing.HeadsetDim]float64, cov *mat.SymDense, from int) {
	for a := range 3 {
		l, r := from+a, from+3+a
		c, o := commonOwn(mean[a], mean[3+a], cov.At(l, l), cov.At(r, r), cov.At(l, r))
		s.common[a] += c
		s.own[a] += o
	}
	s.count++
}

// covariance returns the headset covariance with a prior of the given weight;
// scale is the part of the moments that belongs to it.
func (s *axisMoments) covariance(weight float64, common, own [3]float64, scale float64) *mat.SymDense {
	var c, o [3]float64
	for a := range 3 {
		c[a] = math.Sqrt((scale*s.common[a] + weight*common[a]*common[a]) / (s.count + weight))
		o[a] = math.Sqrt((scale*s.own[a] + weight*own[a]*own[a]) / (s.count + weight))
	}
	return placing.HeadsetCov(c, o)
}

// commonOwn splits second moments of a left and a right value into the
// variance of what they share and of what each has of its own.
func commonOwn(l, r, vl, vr, clr float64) (common, own float64) {
	ll, rr, lr := l*l+vl, r*r+vr, l*r+clr
	own = (ll + rr - 2*lr) / 2
	common = math.Max(0, (ll+rr+2*lr)/4-own/2)
	return common, own
}

// maximiseWithin updates the within-listener spread, pooled over models, and
// each model's scatter ratio.
func (fit *panelFit) maximiseWithin() {
	var common, own [3]float64
	var count float64
	n := fit.Bands.N
	moments, counts := make([][]float64, len(fit.models)), make([][]float64, len(fit.models))
	for m := range fit.models {
		moments[m], counts[m] = make([]float64, n), make([]float64, n)
	}
	seatings := fit.seatingCounts()
	fit.each(allModels, func(li int, w *wornSeating, sp *seatPosterior) {
		cov := sp.ownCov
		for a := range 3 {
			c, o := commonOwn(sp.own.AtVec(a), sp.own.AtVec(3+a),
				cov.At(a, a), cov.At(3+a, 3+a), cov.At(a, 3+a))
			common[a] += c
			own[a] += o
		}
		count++
		// A listener's mean takes 1/k of the residual's variance, position and level five bands'.
		k := seatings[[2]int{li, w.model}]
		if k < 2 {
			return
		}
		lost := k / (k - 1) * float64(n) / float64(n-5)
		for e := range 2 {
			if !w.obs.Present[e] || w.inflationOf(e) > 1 {
				continue
			}
			res := fit.withoutNuisance(sp.resid[e*n:(e+1)*n], w.obs.Variance[e])
			for r, v := range res {
				if w.obs.Variance[e][r] < survey.MissingVar {
					moments[w.model][r] += lost*v*v - w.obs.Variance[e][r] - fit.models[w.model].bend(e, r, r)
					counts[w.model][r]++
				}
			}
		}
	})
	var sc, so [3]float64
	for a := range 3 {
		sc[a] = math.Sqrt((common[a] + priorListeners*priorWithin[a]*priorWithin[a]) / (count + priorListeners))
		so[a] = math.Sqrt((own[a] + priorListeners*priorWithinOwn[a]*priorWithinOwn[a]) / (count + priorListeners))
	}
	for m, pm := range fit.models {
		within := placing.HeadsetCov(sc, so)
		fit.moveSeatings(m, within)
		pm.within = within
		for e := range 2 {
			if pm.ears[e].Survey == nil {
				continue
			}
			v := make([]float64, n)
			for r := range v {
				f := pm.ears[e].Scatter.At(r, r)
				v[r] = (math.Max(0, moments[m][r]) + priorScatter*f) / (counts[m][r] + priorScatter)
			}
			stats.SmoothVariance(v, nil, 1)
			pm.setScatter(e, v)
		}
	}
}

// moveSeatings moves the seatings of a model to where another within-listener covariance has them:
// in proportion to it.
func (fit *panelFit) moveSeatings(m int, within *mat.SymDense) {
	before := mat.DenseCopyOf(fit.models[m].within)
	if _, ok := stats.Invert(before); !ok {
		return // a fit with it would have failed
	}
	var by mat.Dense
	by.Mul(within, before)
	fit.each(m, func(_ int, _ *wornSeating, sp *seatPosterior) {
		var own mat.VecDense
		own.MulVec(&by, sp.own)
		for i := range sp.pos {
			sp.pos[i] += own.AtVec(i) - sp.own.AtVec(i)
		}
	})
}

// seatingCounts counts seatings per listener and model.
func (p *panel) seatingCounts() map[[2]int]float64 {
	out := map[[2]int]float64{}
	for li, l := range p.listeners {
		for i := range l.worn {
			out[[2]int{li, l.worn[i].model}]++
		}
	}
	return out
}

// withoutNuisance takes level and leak tail out of a residual by least squares.
func (p *panel) withoutNuisance(res, variance []float64) []float64 {
	var s [2][2]float64
	var t [2]float64
	basis := func(r int) [2]float64 { return [2]float64{1, p.Bands.LeakTail[r]} }
	for r, v := range res {
		if variance[r] >= survey.MissingVar {
			continue
		}
		b := basis(r)
		for i := range 2 {
			t[i] += b[i] * v
			for j := range 2 {
				s[i][j] += b[i] * b[j]
			}
		}
	}
	det := s[0][0]*s[1][1] - s[0][1]*s[1][0]
	out := append([]float64(nil), res...)
	if det < 1e-9 {
		return out
	}
	x := (t[0]*s[1][1] - t[1]*s[0][1]) / det
	y := (t[1]*s[0][0] - t[0]*s[1][0]) / det
	for r := range out {
		b := basis(r)
		out[r] -= x*b[0] + y*b[1]
	}
	return out
}

// setScatter sets the worn scatter of one ear: the fixture's, and where the
// panel scatters more (ears bend the response to a movement differently) as
// much again, correlated over a third of an octave.
func (pm *panelModel) setScatter(e int, v []float64) {
	em := &pm.ears[e]
	n := em.Bands.N
	out := mat.NewSymDense(n, nil)
	out.CopySym(em.Scatter)
	extra := make([]float64, n)
	for r := range extra {
		extra[r] = math.Sqrt(math.Max(0, v[r]-em.Scatter.At(r, r)))
	}
	for i := range n {
		for j := i; j < n; j++ {
			rho := math.Exp(-em.Bands.Octaves(i, j) / effects.EarCorrOctaves)
			stats.AddSym(out, i, j, extra[i]*extra[j]*rho)
		}
	}
	pm.scatter[e] = out
}

// maximiseEars returns how (left + right)/√2 (part 0) or (left − right)/√2 (part 1) differs, from the
// expected second moments of all listeners; the fixture's ear counts as one more draw, on its own
// scale, which is the second value.
func (fit *panelFit) maximiseEars(part int) (*mat.SymDense, float64) {
	law, sign := fit.law(), 1-2*float64(part)
	size := fit.Width() * fit.Bands.N
	people, fixture := mat.NewSymDense(size, nil), mat.NewSymDense(size, nil) // dB²
	means := mat.NewDense(fit.Dim(), len(fit.per), nil)
	for i := range fit.per {
		means.SetCol(i, fit.per[i].x.RawVector().Data)
	}
	stats.AddOuter(people, 1, law.Ear(means, sign))
	for _, g := range fit.groups {
		fit.addEars(people, g, sign)
	}
	stats.AddOuter(fixture, 1, law.Ear(mat.NewDense(fit.Dim(), 1, fit.theta.RawVector().Data), sign))
	stats.AddOuter(fixture, 1, law.Ear(fit.thetaRoot, sign))
	prior, now := law.PriorEars()[part], [2]*mat.SymDense{fit.cov.Sum, fit.cov.Diff}[part]
	scale := law.FixtureEar(fixture, people, prior, now)
	fixture.ScaleSym(1/scale, fixture)
	people.AddSym(people, fixture)
	return law.Structured(people, float64(len(fit.listeners))+1, prior, fit.earDraws(sign)), scale
}

// addEars adds what is not known of (left ± right)/√2 of a group's listeners. They follow θ by
// VPT + X'ÃR, of which Ã alone differs (listenerFit; R is g.ruled), with what is not known of the rest.
func (fit *panelFit) addEars(people *mat.SymDense, g *group, sign float64) {
	law, count := fit.law(), float64(len(g.members))
	rows, _ := g.ruled.Dims()
	seen, follow := law.Ear(stats.Transposed(g.seen), sign), law.Ear(g.shared, sign)
	less, square := mat.NewDense(rows, rows, nil), mat.NewDense(rows, rows, nil)
	var cov, across, side, more mat.Dense
	cov.Mul(g.ruled, g.ruled.T())
	for _, li := range g.members {
		lf := &fit.per[li]
		var half, own mat.Dense
		half.Mul(lf.less, &cov)
		own.Mul(&half, lf.less)
		less.Add(less, lf.less)
		square.Add(square, &own)
	}
	square.Sub(square, less)
	square.Scale(0.5, square)
	across.Mul(follow, g.ruled.T())
	side.Mul(&across, less)
	more.Mul(seen, square)
	side.Add(&side, &more)
	var left, right mat.Dense // side·seen' + seen·side'
	left.Augment(&side, seen)
	right.Augment(seen, &side)
	stats.AddOuter(people, count, follow)
	stats.AddProduct(people, 1, &left, stats.Transposed(&right))
	law.AddEar(people, count, g.given, sign)
}

// earDraws returns one row per listener: (left ± right)/√2 of how the
// listener's ears differ, channel by channel, referred to the level below
// earLevelHz.
func (fit *panelFit) earDraws(sign float64) *mat.Dense {
	n := fit.Bands.N
	out := mat.NewDense(len(fit.per), fit.Width()*n, nil)
	for i := range fit.per {
		row := out.RawRowView(i)
		for k := range fit.Width() {
			l, r := fit.Channel(0, k), fit.Channel(1, k)
			ear := row[k*n : (k+1)*n]
			for b := range ear {
				ear[b] = math.Sqrt(0.5) * (fit.per[i].x.AtVec(l+b) + sign*fit.per[i].x.AtVec(r+b))
			}
			copy(ear, fit.Bands.WithoutLevel(ear, nil))
		}
	}
	return out
}
