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
	blocks map[blockKind]*block            // what is not known of them
	seats  map[*wornSeating]*seatPosterior // until within changes
	h      *mat.Dense                      // work space: H = [I, positionColumns] of one seating, rows × block
}

func newPosteriors(fit *panelFit) *posteriors {
	p := &posteriors{fit: fit, blocks: map[blockKind]*block{}, seats: map[*wornSeating]*seatPosterior{}, h: mat.NewDense(fit.Rows(), fit.Block(), nil)}
	for r := range 2 * fit.Bands.N {
		p.h.Set(r, r, 1)
	}
	return p
}

// blockKind names a block's covariance: listeners of equal covariance share it.
type blockKind struct {
	given *mat.Dense
	model int
}

// block is the covariance of a listener's block of one model (package comment: layout), own +
// shared·shared'.
type block struct {
	own    *mat.Dense // block × block: with θ known
	shared *mat.Dense // how it follows what is not known of θ: block rows, the columns of thetaRoot
}

// blockOf returns that of listener li and model m.
func (p *posteriors) blockOf(li, m int) *block {
	kind := blockKind{p.fit.per[li].given, m}
	if p.blocks[kind] == nil {
		from, size := m*p.fit.Block(), p.fit.Block()
		b := &block{own: kind.given.Slice(from, from+size, from, from+size).(*mat.Dense), shared: new(mat.Dense)}
		b.shared.Sub(stats.RowsOfDense(p.fit.thetaRoot, from, size), stats.RowsOfDense(p.fit.per[li].shared, from, size))
		p.blocks[kind] = b
	}
	return p.blocks[kind]
}

// of returns the covariance of linear functions of the block, by rows; rows square.
func (b *block) of(rows *mat.Dense) *mat.Dense {
	var own, cov mat.Dense
	own.Mul(stats.Product(rows, b.own), rows.T())
	shared := stats.Product(rows, b.shared)
	cov.Mul(shared, shared.T())
	cov.Add(&cov, &own)
	return &cov
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
	block    *block        // Cov(u)
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
	out.gain.Mul(p.fit.models[w.model].within, stats.Product(stats.Transposed(w.slope), w.weight))
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
	s := &seatSpread{block: sp.of.blockOf(sp.li, w.model)}
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
	own := s.block.of(kh)
	own.Add(own, &s.raw)
	s.ownCov = stats.Symmetric(own)
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
	d := s.block.of(s.jacobian)
	d.Add(d, &s.raw)
	return stats.Symmetric(d)
}
