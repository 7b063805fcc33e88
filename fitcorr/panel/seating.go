package panel

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// sameCovariance reports whether two seatings of one model have the same covariances:
// the rule, since noise is pooled.
func (w *wornSeating) sameCovariance(v *wornSeating) bool {
	same := w.obs.Present == v.obs.Present && (w.read == nil) == (v.read == nil) && w.worth == v.worth && w.doubtOfReading() == v.doubtOfReading() && w.inflation == v.inflation
	for e := range 2 {
		same = same && slices.Equal(w.obs.Variance[e], v.obs.Variance[e])
	}
	return same
}

// linearise prepares a seating about the straight surface. same is a prepared
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
		st := &m.surface[e]
		for r := range n {
			v := w.obs.Level[e][r] - st.Level[r]
			for a := range 3 {
				w.slope.Set(e*n+r, 3*e+a, st.Slope[a][r])
				v += st.Slope[a][r] * st.Centre[a]
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
				cov.SetSym(e*n+i, e*n+j, inflation*(c.At(i, j)+m.bend(e, i, j)))
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
	w.inner = mat.DenseCopyOf(cov)
	var ok bool
	w.logDet, ok = stats.Invert(w.inner)
	return ok && p.marginalise(w)
}

// lineariseAll prepares all seatings.
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
	var jwj, mid, prec, gain mat.Dense
	jw := stats.Product(stats.Transposed(w.slope), w.inner)
	jwj.Mul(jw, w.slope)
	within := p.models[w.model].within
	if prec.Inverse(within) != nil {
		return false
	}
	prec.Add(&prec, &jwj)
	if mid.Inverse(&prec) != nil {
		return false
	}
	w.logDet += math.Log(mat.Det(within)) + math.Log(mat.Det(&prec)) // |R + JDJ'| = |R|·|D|·|D⁻¹ + J'R⁻¹J|
	gain.Mul(jw.T(), &mid)
	w.weight = stats.Product(&gain, jw)
	w.weight.Sub(w.inner, w.weight)
	return true
}

// bend is what a seating departs from the straight surface by, as a covariance between
// two bands: the part of the rest that is not the whole panel's, and the listener's own slopes.
func (pm *panelModel) bend(e, r, q int) float64 {
	s := &pm.surface[e]
	var moved float64 // mm², of a seating about its listener's mean
	for a := range placing.ReadDim {
		moved += priorWithin[a]*priorWithin[a] + priorWithinOwn[a]*priorWithinOwn[a]
	}
	return (1-pm.shared)*s.Rest.At(r, q) + moved*s.Own.At(r, q)
}

// addReading adds the rows of a read position to a seating's observation.
func (p *panel) addReading(w *wornSeating, cov *mat.SymDense) {
	from := 2 * p.Bands.N
	for a := range placing.ReadDim {
		w.slope.Set(from+a, a, 0.5)
		w.slope.Set(from+a, 3+a, 0.5)
		if w.read == nil {
			cov.SetSym(from+a, from+a, survey.MissingVar)
			continue
		}
		w.z.SetVec(from+a, w.read[a])
		cov.SetSym(from+a, from+a, w.doubtOfReading()*p.reading.OneMM*p.reading.OneMM/w.worth)
	}
}

// doubtOfReading is the factor on the variance of a seating's reading, 1 without doubt.
func (w *wornSeating) doubtOfReading() float64 { return max(1, w.readDoubt) }

// positionColumns returns the columns of a seating's observation for what stands behind
// the ears in its model's block: the apparent position; where positions were
// read also what of it is ear, which a ruler does not see, and the landmark.
func (p *panel) positionColumns(w *wornSeating) *mat.Dense {
	if !p.Read {
		return w.slope
	}
	out := mat.NewDense(p.Rows(), 2*placing.HeadsetDim+placing.ReadDim, nil)
	out.Slice(0, p.Rows(), 0, placing.HeadsetDim).(*mat.Dense).Copy(w.slope)
	from := 2 * p.Bands.N
	for a := range placing.ReadDim {
		for b := range placing.HeadsetDim {
			out.Set(from+a, placing.HeadsetDim+b, -w.slope.At(from+a, b))
		}
		out.Set(from+a, 2*placing.HeadsetDim+a, 1)
	}
	return out
}

// inflationOf is the factor on the variance of one ear of a seating, 1 without doubt.
func (w *wornSeating) inflationOf(ear int) float64 { return max(1, w.inflation[ear]) }
