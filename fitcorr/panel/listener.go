package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// likeFirst takes over what a listener with the same precision has.
func (lf *listenerFit) likeFirst(first *listenerFit) {
	lf.binv, lf.half, lf.logDet, lf.pl, lf.gain, lf.reduced = first.binv, first.half, first.logDet, first.pl, first.gain, first.reduced
}

// eliminate marginalises x_s out and reports whether the equations determine it.
// The first columns of L₀ are columns of L times scale, D, and X the others. With
// Q = L'PL = B − I follow from B⁻¹Q = I − B⁻¹ without a product
//
//	G = [(I − B⁻¹)D, g],  R = [D(I − B⁻¹)D, D·g; ·, X'PX − X'PL·g],  g = B⁻¹L'PX.
func (lf *listenerFit) eliminate(l effects.Factor, l0 *mat.Dense, scale []float64) bool {
	rows, r0 := l0.Dims()
	ears, r := l.Cols()
	lf.pl = lf.ev.times(l.Layout, l.Whole)
	x := mat.DenseCopyOf(l0.Slice(0, rows, ears, r0))
	px := lf.ev.times(l.Layout, x)
	b := stats.Symmetric(l.Transposed(lf.pl))
	for k := range r {
		b.SetSym(k, k, b.At(k, k)+1)
	}
	factor, ok := stats.Factorize(b)
	if !ok {
		return false
	}
	lf.logDet = factor.LogDet()
	lf.half, lf.binv = factor.Inverses()
	lpx := l.Transposed(px)
	lf.gain = mat.NewDense(r, r0, nil)
	g := lf.gain.Slice(0, r, ears, r0).(*mat.Dense)
	g.Mul(mat.DenseCopyOf(lf.binv), lpx) // a general product is faster than a symmetric one
	lf.reduced = mat.NewSymDense(r0, nil)
	for i := range r {
		row := lf.gain.RawRowView(i)
		for j, k := range scale {
			row[j] = -k * lf.binv.At(i, j)
		}
		if i < ears {
			row[i] += scale[i]
			for j := i; j < r0; j++ {
				lf.reduced.SetSym(i, j, scale[i]*row[j])
			}
		}
	}
	var own, seen mat.Dense
	own.Mul(x.T(), px)
	seen.Mul(lpx.T(), g)
	own.Sub(&own, &seen)
	rest := stats.Symmetric(&own)
	for i := ears; i < r0; i++ {
		for j := i; j < r0; j++ {
			lf.reduced.SetSym(i, j, rest.At(i-ears, j-ears))
		}
	}
	return true
}

// setRoots sets the roots of covariances: Cov ξ = B⁻¹ + G C₀ G' of x = Lξ, and
// u = L₀η + x.
func (lf *listenerFit) setRoots(l effects.Factor, fit *panelFit) {
	own := l.Times(lf.half)
	shared := l.Times(stats.TimesLower(lf.gain, fit.etaRoot))
	var both mat.Dense
	both.Sub(fit.thetaRoot, shared)
	lf.xRoot, lf.uRoot = new(mat.Dense), new(mat.Dense)
	lf.xRoot.Augment(own, shared)
	lf.uRoot.Augment(own, &both)
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
		var wj, jwj mat.Dense
		var wz, jwz mat.VecDense
		wj.Mul(w.weight, near)
		jwj.Mul(near.T(), &wj)
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

// times returns the precision times x.
func (ev evidence) times(l effects.Layout, x *mat.Dense) *mat.Dense {
	rows, cols := x.Dims()
	out := mat.NewDense(rows, cols, nil)
	for k, b := range ev.blocks {
		if b == nil {
			continue
		}
		from := l.Start(k)
		to := from + b.SymmetricDim()
		full := mat.DenseCopyOf(b) // a general product is faster than a symmetric one
		out.Slice(from, to, 0, cols).(*mat.Dense).Mul(full, x.Slice(from, to, 0, cols))
	}
	return out
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
