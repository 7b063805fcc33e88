package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
)

// blockPosterior is what is known of one listener's block of one model: both
// ears and the mean position, Cov = cov.
type blockPosterior struct {
	u    *mat.VecDense
	root *mat.Dense // rows of uRoot
	cov  *mat.Dense
}

// blockOf returns a listener's block; like is that of a listener whose
// covariances are the same, or nil.
func (p *panel) blockOf(fit *panelFit, li, m int, like *blockPosterior) *blockPosterior {
	lf := &fit.per[li]
	from, to := m*p.block(), (m+1)*p.block()
	_, cols := lf.uRoot.Dims()
	b := blockPosterior{
		u:    lf.u.SliceVec(from, to).(*mat.VecDense),
		root: lf.uRoot.Slice(from, to, 0, cols).(*mat.Dense),
	}
	if like != nil {
		b.cov = like.cov
		return &b
	}
	b.cov = mat.NewDense(to-from, to-from, nil)
	b.cov.Mul(b.root, b.root.T())
	return &b
}

// seatPosterior is the position of one worn seating and what the maximisation
// needs from it.
type seatPosterior struct {
	pos    [position.HeadsetDim]float64
	cov    *mat.SymDense
	own    *mat.VecDense // w: the seating's own part
	ownCov *mat.SymDense
	resid  []float64     // z − Hu − Jw
	given  *mat.SymDense // Cov(w|u)
	lever  *mat.Dense    // d = map·u + const
}

// seating computes the posterior of one worn seating.
func (p *panel) seating(b *blockPosterior, w *wornSeating) seatPosterior {
	n2, rows, size := 2*p.bands.N, p.rows(), p.block()
	h := mat.NewDense(rows, size, nil)
	for r := range n2 {
		h.Set(r, r, 1)
	}
	near := p.near(w)
	_, small := near.Dims()
	h.Slice(0, rows, n2, n2+small).(*mat.Dense).Copy(near)
	d := p.models[w.model].within
	var hu, rz, dj mat.VecDense
	hu.MulVec(h, b.u)
	rz.SubVec(w.z, &hu)
	var jw, djw mat.Dense // K = D J' W
	jw.Mul(w.slope.T(), w.weight)
	djw.Mul(d, &jw)
	out := seatPosterior{own: mat.NewVecDense(position.HeadsetDim, nil)}
	out.own.MulVec(&djw, &rz)
	// Cov(w|u) = D − K J D.
	var kj, given mat.Dense
	kj.Mul(&djw, w.slope)
	given.Mul(&kj, d)
	given.Sub(d, &given)
	out.given = stats.Symmetric(&given)
	var kh, khu, oc mat.Dense
	kh.Mul(&djw, h)
	khu.Mul(&kh, b.cov)
	oc.Mul(&khu, kh.T())
	oc.Add(&oc, &given)
	out.ownCov = stats.Symmetric(&oc)
	// d = t − alike + w = (E − KH)u + Kz.
	out.lever = mat.NewDense(position.HeadsetDim, size, nil)
	for a := range position.HeadsetDim {
		out.lever.Set(a, n2+a, 1)
		out.lever.Set(a, n2+position.HeadsetDim+a, -1)
		out.pos[a] = b.u.AtVec(n2+a) - b.u.AtVec(n2+position.HeadsetDim+a) + out.own.AtVec(a)
	}
	out.lever.Sub(out.lever, &kh)
	var mu, dc mat.Dense
	mu.Mul(out.lever, b.cov)
	dc.Mul(&mu, out.lever.T())
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

// eachSeating calls f with the posterior of every worn seating of a model, in order.
func (p *panel) eachSeating(fit *panelFit, model int, f func(li int, w *wornSeating, b *blockPosterior, sp *seatPosterior)) {
	type kind struct {
		root  *mat.Dense // which listeners alike share
		model int
	}
	blocks := map[kind]*blockPosterior{}
	for li, l := range p.listeners {
		own := make([]*blockPosterior, len(p.models))
		for i := range l.worn {
			w := &l.worn[i]
			if model != allModels && w.model != model {
				continue
			}
			if own[w.model] == nil {
				k := kind{fit.per[li].uRoot, w.model}
				own[w.model] = p.blockOf(fit, li, w.model, blocks[k])
				blocks[k] = own[w.model]
			}
			sp := p.seating(own[w.model], w)
			f(li, w, own[w.model], &sp)
		}
	}
}

// moveLinearisation sets every seating's linearisation point to its estimate,
// kept within the survey's reach.
func (p *panel) moveLinearisation(fit *panelFit) {
	p.eachSeating(fit, allModels, func(_ int, w *wornSeating, _ *blockPosterior, sp *seatPosterior) {
		for e := range 2 {
			sv := p.models[w.model].ears[e].Survey
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
