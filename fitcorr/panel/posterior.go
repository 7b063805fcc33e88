package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// posteriors are those of listeners' blocks and of single seatings under a fit, each worked out
// when it is first asked for. It is not safe for use by several goroutines.
type posteriors struct {
	fit    *panelFit
	blocks map[blockKind]*mat.Dense        // covariances
	seats  map[*wornSeating]*seatPosterior // until within changes
	h      *mat.Dense                      // work space: H = [I, positionColumns] of one seating, rows × block
}

func newPosteriors(fit *panelFit) *posteriors {
	p := &posteriors{fit: fit, blocks: map[blockKind]*mat.Dense{}, seats: map[*wornSeating]*seatPosterior{}, h: mat.NewDense(fit.Rows(), fit.Block(), nil)}
	for r := range 2 * fit.Bands.N {
		p.h.Set(r, r, 1)
	}
	return p
}

// blockKind names a block's covariance: listeners of equal covariance share the matrix.
type blockKind struct {
	given *mat.Dense
	model int
}

// blockCov is the covariance of a listener's block of one model (package comment: layout).
func (p *posteriors) blockCov(li, m int) *mat.Dense {
	given := p.fit.per[li].given
	kind := blockKind{given, m}
	if p.blocks[kind] == nil {
		from, size := m*p.fit.Block(), p.fit.Block()
		shared := mat.NewSymDense(size, nil)
		stats.AddOuter(shared, 1, p.sharedOf(li, m))
		cov := mat.DenseCopyOf(shared)
		cov.Add(cov, given.Slice(from, from+size, from, from+size))
		p.blocks[kind] = cov
	}
	return p.blocks[kind]
}

// sharedOf is how a listener's block of one model follows what is not known of θ: block
// rows, the columns of thetaRoot.
func (p *posteriors) sharedOf(li, m int) *mat.Dense {
	from, size := m*p.fit.Block(), p.fit.Block()
	var out mat.Dense
	out.Sub(stats.RowsOfDense(p.fit.thetaRoot, from, size), stats.RowsOfDense(p.fit.per[li].shared, from, size))
	return &out
}

// allModels asks each for the seatings of all models.
const allModels = -1

// each calls f with the posterior of every worn seating of a model, in order, which f must
// not change.
func (p *posteriors) each(model int, f func(li int, w *wornSeating, sp *seatPosterior)) {
	for li, l := range p.fit.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			if model != allModels && w.model != model {
				continue
			}
			if p.seats[w] == nil {
				p.seats[w] = p.seating(li, w)
			}
			f(li, w, p.seats[w])
		}
	}
}

// seatPosterior is the position of one worn seating: its mean, and by spread what is not
// known of it, which takes far longer.
type seatPosterior struct {
	pos   [placing.HeadsetDim]float64
	own   *mat.VecDense // w: the seating's own part
	resid []float64     // z − Hu − Jw

	of    *posteriors
	li    int
	seat  *wornSeating
	gain  mat.Dense   // K, HeadsetDim × rows: w = K(z − Hu)
	known *seatSpread // of spread, nil until it is asked for
}

// seatSpread is what is not known of a seating's position.
type seatSpread struct {
	given    *mat.SymDense // Cov(w|u), HeadsetDim square
	raw      mat.Dense     // the same as rounding has left it, its two sides not quite alike
	ownCov   *mat.SymDense // Cov(w), HeadsetDim square
	jacobian *mat.Dense    // d = jacobian·u + const, HeadsetDim × block
	block    *mat.Dense    // Cov(u), block × block
}

// seating computes the mean of the position of one worn seating.
func (p *posteriors) seating(li int, w *wornSeating) *seatPosterior {
	n2, from := 2*p.fit.Bands.N, w.model*p.fit.Block()
	u := p.fit.per[li].u.SliceVec(from, from+p.fit.Block()).(*mat.VecDense)
	near := p.fit.positionColumns(w)
	rows, small := near.Dims()
	p.h.Slice(0, rows, n2, n2+small).(*mat.Dense).Copy(near)
	out := &seatPosterior{own: mat.NewVecDense(placing.HeadsetDim, nil), of: p, li: li, seat: w}
	// K = D J' W
	out.gain.Mul(p.fit.models[w.model].within, stats.Product(mat.DenseCopyOf(w.slope.T()), w.weight))
	var rest, moved mat.VecDense
	rest.MulVec(p.h, u)
	rest.SubVec(w.z, &rest)
	out.own.MulVec(&out.gain, &rest)
	for a := range placing.HeadsetDim {
		out.pos[a] = u.AtVec(n2+a) - u.AtVec(n2+placing.HeadsetDim+a) + out.own.AtVec(a)
	}
	moved.MulVec(w.slope, out.own)
	rest.SubVec(&rest, &moved)
	out.resid = rest.RawVector().Data
	return out
}

// spread is what is not known of the seating's position.
func (sp *seatPosterior) spread() *seatSpread {
	if sp.known != nil {
		return sp.known
	}
	fit, w := sp.of.fit, sp.seat
	n2, d := 2*fit.Bands.N, fit.models[w.model].within
	s := &seatSpread{block: sp.of.blockCov(sp.li, w.model)}
	// Cov(w|u) = D − K J D.
	var kj mat.Dense
	kj.Mul(&sp.gain, w.slope)
	s.raw.Mul(&kj, d)
	s.raw.Sub(d, &s.raw)
	s.given = stats.Symmetric(&s.raw)
	near := stats.Product(&sp.gain, fit.positionColumns(w))
	_, small := near.Dims()
	kh := mat.NewDense(placing.HeadsetDim, fit.Block(), nil) // K H
	kh.Copy(sp.gain.Slice(0, placing.HeadsetDim, 0, n2))
	kh.Slice(0, placing.HeadsetDim, n2, n2+small).(*mat.Dense).Copy(near)
	var own mat.Dense
	own.Mul(stats.Product(kh, s.block), kh.T())
	own.Add(&own, &s.raw)
	s.ownCov = stats.Symmetric(&own)
	// d = apparent − confounded + w = (E − KH)u + Kz.
	s.jacobian = mat.NewDense(placing.HeadsetDim, fit.Block(), nil)
	for a := range placing.HeadsetDim {
		s.jacobian.Set(a, n2+a, 1)
		s.jacobian.Set(a, n2+placing.HeadsetDim+a, -1)
	}
	s.jacobian.Sub(s.jacobian, kh)
	sp.known = s
	return s
}

// cov is the covariance of the position, HeadsetDim square.
func (s *seatSpread) cov() *mat.SymDense {
	var d mat.Dense
	d.Mul(stats.Product(s.jacobian, s.block), s.jacobian.T())
	d.Add(&d, &s.raw)
	return stats.Symmetric(&d)
}
