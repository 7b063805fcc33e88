package panel

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/displaced"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// sameCovariance reports whether two seatings of one model have the same covariances:
// the rule, since noise is pooled.
func (w *wornSeating) sameCovariance(v *wornSeating) bool {
	same := w.obs.Present == v.obs.Present && (w.read == nil) == (v.read == nil) && w.worth == v.worth && w.inflation == v.inflation
	for e := range 2 {
		same = same && slices.Equal(w.obs.Variance[e], v.obs.Variance[e])
	}
	return same
}

// linearise prepares a seating at its current position. same is a prepared
// seating of the model with the same covariances, or nil. It reports whether the
// covariance is positive definite.
func (p *panel) linearise(w, same *wornSeating) bool {
	m := p.models[w.model]
	n := p.Bands.N
	w.z = mat.NewVecDense(p.Rows(), nil)
	w.slope = mat.NewDense(p.Rows(), placing.HeadsetDim, nil)
	cov := mat.NewSymDense(p.Rows(), nil)
	for e := range 2 {
		if !w.obs.Present[e] {
			for r := range n {
				cov.SetSym(e*n+r, e*n+r, survey.MissingVar)
			}
			continue
		}
		em := &m.ears[e]
		d := [3]float64(w.at[3*e : 3*e+3])
		level := m.people[e].Level(m.ears[e].Survey.LevelAt(p.Bands, d), d)
		slope := m.slope[e]
		for r := range n {
			v := w.obs.Level[e][r] - level[r]
			for a := range 3 {
				w.slope.Set(e*n+r, 3*e+a, slope[a][r])
				v += slope[a][r] * d[a]
			}
			w.z.SetVec(e*n+r, v)
		}
		if same != nil {
			continue
		}
		worn := *em
		worn.Scatter = m.scatter[e]
		c := worn.Covariance(1, make([]float64, n), w.obs.Variance[e])
		inflation := w.inflationOf(e)
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(e*n+i, e*n+j, inflation*c.At(i, j))
			}
		}
	}
	if p.Read {
		p.addReading(w, cov)
	}
	if same != nil {
		w.inner, w.weight, w.logDet = same.inner, same.weight, same.logDet
		return true
	}
	var chol mat.Cholesky
	w.inner = mat.NewSymDense(p.Rows(), nil)
	if !chol.Factorize(cov) || chol.InverseTo(w.inner) != nil {
		return false
	}
	w.logDet = chol.LogDet()
	return p.marginalise(w)
}

// lineariseAll prepares all seatings at their current positions.
func (p *panel) lineariseAll() bool {
	firsts := make([][]*wornSeating, len(p.models)) // of each kind of equal covariance
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			var first *wornSeating
			for _, v := range firsts[w.model] {
				if w.sameCovariance(v) {
					first = v
					break
				}
			}
			if !p.linearise(w, first) {
				return false
			}
			if first == nil {
				firsts[w.model] = append(firsts[w.model], w)
			}
		}
	}
	return true
}

// marginalise sets weight = (R + J D J')⁻¹ for the current within-listener D.
func (p *panel) marginalise(w *wornSeating) bool {
	var wj, jwj, mid, prec, gain mat.Dense
	wj.Mul(w.inner, w.slope)
	jwj.Mul(w.slope.T(), &wj)
	within := p.models[w.model].within
	if prec.Inverse(within) != nil {
		return false
	}
	prec.Add(&prec, &jwj)
	if mid.Inverse(&prec) != nil {
		return false
	}
	w.logDet += math.Log(mat.Det(within)) + math.Log(mat.Det(&prec)) // |R + JDJ'| = |R|·|D|·|D⁻¹ + J'R⁻¹J|
	gain.Mul(&wj, &mid)
	var out mat.Dense
	out.Mul(&gain, wj.T())
	out.Sub(w.inner, &out)
	w.weight = stats.Symmetric(&out)
	return true
}

// centreSlopes sets each model's slope at the mean of its seatings' positions.
func (p *panel) centreSlopes() {
	for m, pm := range p.models {
		var mean [placing.HeadsetDim]float64
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
			_, _, pm.excess[e] = pm.ears[e].Survey.Surface(p.Bands, d)
			fixture := meanSlope(pm.ears[e].Survey, p.Bands, d)
			pm.people[e] = displaced.Pool(pm.displaced, e, fixture, stats.Diagonal(pm.scatter[e]))
			pm.slope[e] = pm.people[e].Mean(fixture)
		}
	}
}

func meanSlope(s *survey.Ear, bands survey.Bands, d [3]float64) (mean [3][]float64) {
	for a := range mean {
		mean[a] = make([]float64, bands.N)
	}
	for i := -1; i <= 1; i++ {
		for j := -1; j <= 1; j++ {
			q := [3]float64{d[0] + slopeSpanMM*float64(i), d[1] + slopeSpanMM*float64(j), d[2]}
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

// moveLinearisation sets every seating's linearisation point to its estimate,
// kept within the survey's reach.
func (fit *panelFit) moveLinearisation() {
	fit.eachSeating(allModels, func(_ int, w *wornSeating, _ *blockPosterior, sp *seatPosterior) {
		for e := range 2 {
			sv := fit.models[w.model].ears[e].Survey
			if sv == nil {
				continue
			}
			reach := sv.Reach()
			for a := range 3 {
				lim := 1.3*reach[a] + 0.5
				w.at[3*e+a] = math.Max(-lim, math.Min(lim, sp.pos[3*e+a]))
			}
		}
	})
}
