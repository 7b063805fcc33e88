package fitcorr

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

var errSingular = errors.New("the panel's equations are singular")

// maximise returns the spread that the expected second moments give, and sets
// each model's within-listener covariance and scatter ratio.
func (p *panel) maximise(old *spread, fit *panelFit) *spread {
	s := &spread{channel: mat.NewSymDense(p.channels(), nil)}
	p.maximiseEars(old, fit, s)
	p.maximiseBetween(fit, s)
	p.maximiseWithin(fit)
	return s
}

// maximiseEars updates how ears differ: one standard deviation per band and
// kind of channel, shared by both ears; one correlation between channels,
// symmetric in left and right; one correlation over frequency. The fixture's
// ear counts as one more draw.
func (p *panel) maximiseEars(old *spread, fit *panelFit, s *spread) {
	n, ch := p.bands.n, p.channels()
	prior := startEarSD(p.bands)
	draws := float64(len(p.listeners)) + 1
	// moment(i, j, lag): Σ over draws of E[x_i(f) x_j(f+lag)].
	type source struct {
		mean  *mat.VecDense
		root  *mat.Dense
		scale float64
	}
	var sources []source
	for i := range fit.per {
		sources = append(sources, source{fit.per[i].x, fit.per[i].xRoot, 1})
	}
	var thetaRoot mat.Dense
	thetaRoot.Mul(fit.root0, choleskyRoot(fit.etaCov))
	sources = append(sources, source{fit.theta, &thetaRoot, 1 / fixtureEarFactor})
	moment := func(a, b int) float64 {
		var sum float64
		for _, src := range sources {
			v := src.mean.AtVec(a) * src.mean.AtVec(b)
			ra, rb := src.root.RawRowView(a), src.root.RawRowView(b)
			for k, x := range ra {
				v += x * rb[k]
			}
			sum += src.scale * v
		}
		return sum
	}
	for k := range p.width {
		v := make([]float64, n)
		for r := range n {
			for e := range 2 {
				c := p.channel(e, k) + r
				v[r] += moment(c, c) / 2
			}
			v[r] = (v[r] + priorListeners*prior[r]*prior[r]) / (draws + priorListeners)
		}
		smoothVariance(v, nil, 2)
		for r := range v {
			v[r] = math.Sqrt(v[r])
		}
		s.sd = append(s.sd, v)
	}
	s.sd = append(s.sd, s.sd...) // the right ear's channels
	// Correlation between channels.
	raw := mat.NewSymDense(ch, nil)
	for i := range ch {
		for j := i; j < ch; j++ {
			var sum float64
			for r := range n {
				sum += moment(i*n+r, j*n+r) / (s.sd[i][r] * s.sd[j][r])
			}
			raw.SetSym(i, j, sum/float64(n)+priorListeners*p.startChannel(i, j))
		}
	}
	w := p.width
	for i := range w {
		for j := i; j < w; j++ {
			same := (raw.At(i, j) + raw.At(w+i, w+j)) / 2
			cross := (raw.At(i, w+j) + raw.At(j, w+i)) / 2
			s.channel.SetSym(i, j, same)
			s.channel.SetSym(w+i, w+j, same)
			s.channel.SetSym(i, w+j, cross)
			s.channel.SetSym(j, w+i, cross)
		}
	}
	norm := make([]float64, ch)
	for i := range ch {
		norm[i] = math.Sqrt(s.channel.At(i, i))
	}
	for i := range ch {
		for j := i; j < ch; j++ {
			s.channel.SetSym(i, j, s.channel.At(i, j)/(norm[i]*norm[j]))
		}
	}
	// Correlation over frequency.
	const lags = 6
	var corr [lags + 1]float64
	for lag := 1; lag <= lags; lag++ {
		var sum, m float64
		for i := range ch {
			for r := 0; r+lag < n; r++ {
				sum += moment(i*n+r, i*n+r+lag) / (s.sd[i][r] * s.sd[i][r+lag])
				m++
			}
		}
		corr[lag] = sum / (m * (draws + priorListeners*0.5))
	}
	step := p.bands.octaves(0, 1)
	best := math.Inf(1)
	for _, width := range []float64{0.12, 0.17, 0.24, 0.3, 0.4, 0.55, 0.8, 1.1} {
		for _, nugget := range []float64{0.005, 0.02, 0.05, 0.1, 0.2} {
			var cost float64
			for lag := 1; lag <= lags; lag++ {
				o := math.Sqrt(3) * float64(lag) * step / width
				d := corr[lag] - (1-nugget)*(1+o)*math.Exp(-o)
				cost += d * d / float64(lag)
			}
			if cost < best {
				best, s.width, s.nugget = cost, width, nugget
			}
		}
	}
}

// maximiseBetween pools the listeners' mean positions over models: what the
// ears share and what each has of its own, per axis.
func (p *panel) maximiseBetween(fit *panelFit, s *spread) {
	var common, own [3]float64
	var count float64
	for i := range fit.per {
		lf := &fit.per[i]
		for m := range p.models {
			at := p.position(m)
			for a := range 3 {
				c, o := commonOwn(
					lf.x.AtVec(at+a), lf.x.AtVec(at+3+a),
					dotRows(lf.xRoot, at+a, at+a), dotRows(lf.xRoot, at+3+a, at+3+a), dotRows(lf.xRoot, at+a, at+3+a))
				common[a] += c
				own[a] += o
			}
			count++
		}
	}
	var sc, so [3]float64
	for a := range 3 {
		sc[a] = math.Sqrt((common[a] + priorListeners*4) / (count + priorListeners))
		so[a] = math.Sqrt((own[a] + priorListeners*0.5) / (count + priorListeners))
	}
	for range p.models {
		s.between = append(s.between, headsetCov(sc, so))
	}
}

// commonOwn splits second moments of a left and a right value into the
// variance of what they share and of what each has of its own.
func commonOwn(l, r, vl, vr, clr float64) (common, own float64) {
	ll, rr, lr := l*l+vl, r*r+vr, l*r+clr
	own = (ll + rr - 2*lr) / 2
	common = math.Max(0, (ll+rr+2*lr)/4-own/2)
	return common, own
}

func dotRows(m *mat.Dense, i, j int) float64 {
	a, b := m.RawRowView(i), m.RawRowView(j)
	var s float64
	for k, v := range a {
		s += v * b[k]
	}
	return s
}

// maximiseWithin updates the within-listener spread, pooled over models, and
// each model's scatter ratio.
func (p *panel) maximiseWithin(fit *panelFit) {
	var common, own [3]float64
	var count float64
	chi2, dof := make([]float64, len(p.models)), make([]float64, len(p.models))
	for li, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			sp := p.seating(fit, li, w)
			for a := range 3 {
				c, o := commonOwn(sp.own.AtVec(a), sp.own.AtVec(3+a),
					sp.ownCov.At(a, a), sp.ownCov.At(3+a, 3+a), sp.ownCov.At(a, 3+a))
				common[a] += c
				own[a] += o
			}
			count++
			chi2[w.model] += sp.chi2
			dof[w.model] += sp.dof
		}
	}
	var sc, so [3]float64
	for a := range 3 {
		sc[a] = math.Sqrt((common[a] + priorListeners*2.25) / (count + priorListeners))
		so[a] = math.Sqrt((own[a] + priorListeners*0.25) / (count + priorListeners))
	}
	const priorDof = 60 // two seatings' worth that worn scatter equals the fixture's
	for m, pm := range p.models {
		pm.within = headsetCov(sc, so)
		pm.ratio *= math.Sqrt((chi2[m] + priorDof) / (dof[m] + priorDof))
	}
}
