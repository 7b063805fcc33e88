package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// likeFirst takes over what a listener with the same precision has.
func (lf *listenerFit) likeFirst(first *listenerFit) {
	lf.given, lf.pull, lf.reduced, lf.logDet, lf.shared = first.given, first.pull, first.reduced, first.logDet, first.shared
}

// eliminate marginalises x_s out and reports whether the equations determine it. With P
// the precision of the listener's recordings
//
//	V = (Λ⁻¹ + P)⁻¹,  M = P − PVP,
//
// x_s given θ is normal with mean V(q − Pθ) and covariance V, and the recordings say of θ
// that PVq less than q is normal with mean Mθ and covariance M.
//
// What the listener of the round before had is overwritten.
func (lf *listenerFit) eliminate(l effects.Layout, prior effects.Prior, space *workspace) bool {
	index, count := l.Values()
	if space.sum == nil {
		*space = workspace{mat.NewDense(count, count, nil), mat.NewDense(l.Dim(), l.Dim(), nil), mat.NewDense(l.Dim(), l.Dim(), nil), mat.NewDense(l.Dim(), l.Dim(), nil)}
	}
	sum := space.sum
	sum.Copy(prior.Inverse)
	for k, b := range lf.ev.blocks {
		if b == nil {
			continue
		}
		at := index[l.Start(k):]
		for i := range b.SymmetricDim() {
			row := sum.RawRowView(at[i])
			for j := range b.SymmetricDim() {
				row[at[j]] += b.At(i, j)
			}
		}
	}
	logDet, ok := stats.Invert(sum)
	if !ok {
		return false
	}
	lf.logDet = logDet + prior.LogDet
	lf.given = space.given
	for i, a := range index {
		from, to := sum.RawRowView(a), lf.given.RawRowView(i)
		for j, b := range index {
			to[j] = from[b]
		}
	}
	lf.pull = space.pull
	for k, b := range lf.ev.blocks {
		if b != nil {
			from, to := l.Start(k), l.Start(k)+b.SymmetricDim()
			stats.Multiply(lf.pull.Slice(0, l.Dim(), from, to).(*mat.Dense), lf.given.Slice(0, l.Dim(), from, to).(*mat.Dense), mat.DenseCopyOf(b))
		}
	}
	lf.reduced = lf.ev.reduce(l, lf.pull, space.reduced)
	return true
}

// workspace is what eliminate keeps from round to round. A listener wears the same models in
// all, so that what it leaves out of pull and reduced is 0 throughout.
type workspace struct{ sum, given, pull, reduced *mat.Dense }

// covariance is that of entries i and j of x_s.
func (lf *listenerFit) covariance(i, j int) float64 {
	return lf.given.At(i, j) + stats.DotRows(lf.shared, i, j)
}

// evidenceOf sums up the recordings of one listener.
func (p *panel) evidenceOf(l *listener) evidence {
	n, size := p.Bands.N, p.Block()
	ev := evidence{make([]*mat.SymDense, p.Width()), mat.NewVecDense(p.Dim(), nil)}
	for i := range l.worn {
		w := &l.worn[i]
		if ev.blocks[w.model] == nil {
			ev.blocks[w.model] = mat.NewSymDense(size, nil)
		}
		// H = [I, J]: columns of ears, then of the position and what goes with it.
		near := p.positionColumns(w)
		_, small := near.Dims()
		var jwj mat.Dense
		var wz, jwz mat.VecDense
		wj := stats.Product(w.weight, near)
		jwj.Mul(near.T(), wj)
		wz.MulVec(w.weight, w.z)
		jwz.MulVec(wj.T(), w.z)
		blk, off := ev.blocks[w.model], w.model*size
		for a := range 2 * n {
			for b := a; b < 2*n; b++ {
				stats.AddSym(blk, a, b, w.weight.At(a, b))
			}
			for b := range small {
				stats.AddSym(blk, a, 2*n+b, wj.At(a, b))
			}
			ev.rhs.SetVec(off+a, ev.rhs.AtVec(off+a)+wz.AtVec(a))
		}
		for a := range small {
			for b := a; b < small; b++ {
				stats.AddSym(blk, 2*n+a, 2*n+b, jwj.At(a, b))
			}
			ev.rhs.SetVec(off+2*n+a, ev.rhs.AtVec(off+2*n+a)+jwz.AtVec(a))
		}
	}
	for i := range l.bare {
		p.addBareEvidence(&l.bare[i], ev)
	}
	return ev
}

func (p *panel) addBareEvidence(r *bareReference, ev evidence) {
	n, k := p.Bands.N, p.Layout.Models+r.place
	if ev.blocks[k] == nil {
		ev.blocks[k] = mat.NewSymDense(2*n, nil)
	}
	for e := range 2 {
		if !r.present[e] {
			continue
		}
		cov := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(i, j, placing.GainSD*placing.GainSD)
			}
			cov.SetSym(i, i, placing.GainSD*placing.GainSD+bareFloorDB*bareFloorDB+r.variance[e][i])
		}
		var chol mat.Cholesky
		var inv mat.SymDense
		if !chol.Factorize(cov) || chol.InverseTo(&inv) != nil {
			continue
		}
		c := p.Channel(e, k)
		var wz mat.VecDense
		wz.MulVec(&inv, mat.NewVecDense(n, r.level[e]))
		for i := range n {
			for j := i; j < n; j++ {
				stats.AddSym(ev.blocks[k], e*n+i, e*n+j, inv.At(i, j))
			}
			ev.rhs.SetVec(c+i, ev.rhs.AtVec(c+i)+wz.AtVec(i))
		}
	}
}

// timesVec returns the precision times x.
func (ev evidence) timesVec(l effects.Layout, x *mat.VecDense) *mat.VecDense {
	out := mat.NewVecDense(x.Len(), nil)
	for k, b := range ev.blocks {
		if b != nil {
			from, to := l.Start(k), l.Start(k)+b.SymmetricDim()
			out.SliceVec(from, to).(*mat.VecDense).MulVec(b, x.SliceVec(from, to))
		}
	}
	return out
}

// reduce returns M of a precision P and VP, of the diagonal and above, in out.
func (ev evidence) reduce(l effects.Layout, pull, out *mat.Dense) *mat.SymDense {
	dim, _ := pull.Dims()
	for k, b := range ev.blocks {
		if b == nil {
			continue
		}
		from, to := l.Start(k), l.Start(k)+b.SymmetricDim()
		precision, right := mat.DenseCopyOf(b), out.Slice(from, to, from, dim).(*mat.Dense)
		stats.Multiply(right, precision, pull.Slice(from, to, from, dim).(*mat.Dense))
		right.Scale(-1, right)
		own := out.Slice(from, to, from, to).(*mat.Dense)
		own.Add(own, precision)
	}
	return mat.NewSymDense(dim, out.RawMatrix().Data)
}

// firstsOfPrecision returns for each listener the first one whose precision is the
// same, which is the rule when everybody wore everything equally often: what
// depends on it alone is computed once.
func firstsOfPrecision(per []listenerFit) []int {
	first := make([]int, len(per))
	for i := range per {
		first[i] = i
		for j := range i {
			if first[j] == j && sameBlocks(per[i].ev.blocks, per[j].ev.blocks) {
				first[i] = j
				break
			}
		}
	}
	return first
}

func sameBlocks(a, b []*mat.SymDense) bool {
	for k := range a {
		if (a[k] == nil) != (b[k] == nil) || (a[k] != nil && !mat.Equal(a[k], b[k])) {
			return false
		}
	}
	return true
}
