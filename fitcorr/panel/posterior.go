package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// blockPosterior is what is known of one listener's block of one model (package
// comment: layout).
type blockPosterior struct {
	u   *mat.VecDense // length block
	cov *mat.Dense    // block × block
}

// blockOf returns a listener's block of one model.
func (fit *panelFit) blockOf(li, m int) *blockPosterior {
	lf := &fit.per[li]
	from, size := m*fit.Block(), fit.Block()
	b := blockPosterior{u: lf.u.SliceVec(from, from+size).(*mat.VecDense)}
	kind := blockKind{lf.given, m}
	if b.cov = fit.blocks[kind]; b.cov == nil {
		cov := mat.NewSymDense(size, nil)
		cov.SymOuterK(1, fit.sharedOf(li, m))
		b.cov = mat.DenseCopyOf(cov)
		b.cov.Add(b.cov, lf.given.Slice(from, from+size, from, from+size))
		fit.blocks[kind] = b.cov
	}
	return &b
}

// sharedOf is how a listener's block of one model follows what is not known of θ: block
// rows, the columns of thetaRoot.
func (fit *panelFit) sharedOf(li, m int) *mat.Dense {
	from, size := m*fit.Block(), fit.Block()
	var out mat.Dense
	out.Sub(stats.RowsOfDense(fit.thetaRoot, from, size), stats.RowsOfDense(fit.per[li].shared, from, size))
	return &out
}

// seatPosterior is the position of one worn seating and what the maximisation
// needs from it.
type seatPosterior struct {
	pos      [placing.HeadsetDim]float64
	cov      *mat.SymDense
	own      *mat.VecDense // w: the seating's own part
	ownCov   *mat.SymDense
	resid    []float64     // z − Hu − Jw
	given    *mat.SymDense // Cov(w|u)
	jacobian *mat.Dense    // d = map·u + const
}

// seating computes the posterior of one worn seating.
func (p *panel) seating(b *blockPosterior, w *wornSeating) *seatPosterior {
	n2, rows, size := 2*p.Bands.N, p.Rows(), p.Block()
	h := mat.NewDense(rows, size, nil)
	for r := range n2 {
		h.Set(r, r, 1)
	}
	near := p.positionColumns(w)
	_, small := near.Dims()
	h.Slice(0, rows, n2, n2+small).(*mat.Dense).Copy(near)
	d := p.models[w.model].within
	var hu, rz, dj mat.VecDense
	hu.MulVec(h, b.u)
	rz.SubVec(w.z, &hu)
	var jw, djw mat.Dense // K = D J' W
	jw.Mul(w.slope.T(), w.weight)
	djw.Mul(d, &jw)
	out := &seatPosterior{own: mat.NewVecDense(placing.HeadsetDim, nil)}
	out.own.MulVec(&djw, &rz)
	// Cov(w|u) = D − K J D.
	var kj, given mat.Dense
	kj.Mul(&djw, w.slope)
	given.Mul(&kj, d)
	given.Sub(d, &given)
	out.given = stats.Symmetric(&given)
	var oc mat.Dense
	kh := stats.Product(&djw, h)
	oc.Mul(stats.Product(kh, b.cov), kh.T())
	oc.Add(&oc, &given)
	out.ownCov = stats.Symmetric(&oc)
	// d = apparent − confounded + w = (E − KH)u + Kz.
	out.jacobian = mat.NewDense(placing.HeadsetDim, size, nil)
	for a := range placing.HeadsetDim {
		out.jacobian.Set(a, n2+a, 1)
		out.jacobian.Set(a, n2+placing.HeadsetDim+a, -1)
		out.pos[a] = b.u.AtVec(n2+a) - b.u.AtVec(n2+placing.HeadsetDim+a) + out.own.AtVec(a)
	}
	out.jacobian.Sub(out.jacobian, kh)
	var dc mat.Dense
	dc.Mul(stats.Product(out.jacobian, b.cov), out.jacobian.T())
	dc.Add(&dc, &given)
	out.cov = stats.Symmetric(&dc)
	dj.MulVec(w.slope, out.own)
	res := mat.NewVecDense(rows, nil)
	res.SubVec(&rz, &dj)
	out.resid = res.RawVector().Data
	return out
}

// allModels asks eachSeating for the seatings of all models.
const allModels = -1

// eachSeating calls f with the posterior of every worn seating of a model, in order, which
// f must not change.
func (fit *panelFit) eachSeating(model int, f func(li int, w *wornSeating, b *blockPosterior, sp *seatPosterior)) {
	for li, l := range fit.listeners {
		own := make([]*blockPosterior, len(fit.models))
		for i := range l.worn {
			w := &l.worn[i]
			if model != allModels && w.model != model {
				continue
			}
			if own[w.model] == nil {
				own[w.model] = fit.blockOf(li, w.model)
			}
			sp, known := fit.seats[w]
			if !known {
				sp = fit.seating(own[w.model], w)
				fit.seats[w] = sp
			}
			f(li, w, own[w.model], sp)
		}
	}
}

// peopleRows is the mean position of the people of model m as a linear function of η (3 × columns of L₀).
func (fit *panelFit) peopleRows(m int) *mat.Dense {
	_, r0 := fit.root0.Dims()
	rows := mat.NewDense(3, r0, nil)
	for a := range 3 {
		for c := range r0 {
			var v float64
			for e := range 2 {
				i := 3*e + a
				v += (fit.root0.At(fit.Position(m)+i, c) - fit.root0.At(fit.Confounded(m)+i, c)) / 2
			}
			rows.Set(a, c, v)
		}
	}
	return rows
}
