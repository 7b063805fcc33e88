package panel

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// sameLevels reports whether the levels of two seatings of one model have the same
// covariances.
func (w *wornSeating) sameLevels(v *wornSeating) bool {
	same := w.obs.Present == v.obs.Present
	for e := range 2 {
		same = same && w.inflationOf(e) == v.inflationOf(e) && slices.Equal(w.obs.Variance[e], v.obs.Variance[e])
	}
	return same
}

// lineariseAll prepares all seatings about the straight surfaces. It reports whether all
// covariances are positive definite.
func (p *panel) lineariseAll() bool {
	kinds := make([][]*kind, len(p.models))
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			at := slices.IndexFunc(kinds[w.model], func(k *kind) bool { return w.sameLevels(k.like) })
			if at < 0 {
				k, ok := p.newKind(w)
				if !ok {
					return false
				}
				at, kinds[w.model] = len(kinds[w.model]), append(kinds[w.model], k)
			}
			w.kind = kinds[w.model][at]
			if !p.linearise(w) {
				return false
			}
		}
	}
	return true
}

// linearise prepares a seating whose kind is known; false where its reading's covariance is not
// positive definite.
func (p *panel) linearise(w *wornSeating) (ok bool) {
	m, n := p.models[w.model], p.Bands.N
	w.z, w.told, w.logDet = mat.NewVecDense(2*n, nil), nil, w.kind.logDet
	for e := range 2 {
		if !w.obs.Present[e] {
			continue
		}
		st := &m.surface[e]
		for r := range n {
			v := w.obs.Level[e][r] - st.Level[r]
			for a := range 3 {
				v += st.Slope[a][r] * st.Centre[a]
			}
			w.z.SetVec(e*n+r, v)
		}
	}
	if w.read == nil {
		return true
	}
	var near, here mat.VecDense
	near.MulVec(w.kind.gain, w.z)
	here.MulVec(middle, &near)
	w.beside = mat.NewVecDense(placing.ReadDim, nil)
	w.beside.SubVec(mat.NewVecDense(placing.ReadDim, w.read[:]), &here)
	var half mat.Dense
	half.Mul(middle, w.kind.given)
	w.told = mat.NewDense(placing.ReadDim, placing.ReadDim, nil)
	w.told.Mul(&half, middle.T())
	for a := range placing.ReadDim {
		w.told.Set(a, a, w.told.At(a, a)+p.readingVariance(w))
	}
	logDet, ok := stats.Invert(w.told)
	w.logDet += logDet
	return ok
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

// readingVariance is the variance of a seating's reading, mm² per axis.
func (p *panel) readingVariance(w *wornSeating) float64 {
	return w.doubtOfReading() * p.reading.OneMM * p.reading.OneMM / w.worth
}

// doubtOfReading is the factor on the variance of a seating's reading, 1 without doubt.
func (w *wornSeating) doubtOfReading() float64 { return max(1, w.readDoubt) }

// inflationOf is the factor on the variance of one ear of a seating, 1 without doubt.
func (w *wornSeating) inflationOf(ear int) float64 { return max(1, w.inflation[ear]) }
