package leak

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// block is one curve's share of the normal equations: its own unknowns (gain,
// and ln f₀ and ln damping when it leaks) against the global ones.
type block struct {
	own   mat.SymDense // own × own, priors included
	cross mat.Dense    // global × own
	rhs   *mat.VecDense
	inv   mat.SymDense // inverse of own
}

// normal is the linearised system, curves eliminated into the globals: the
// sealed curve, the reference leak when it is fitted, and the source.
type normal struct {
	blocks []block
	share  []*mat.SymDense // what each curve adds to the global matrix, if kept …
	rhs    []*mat.VecDense // … and to its right side
	a      *mat.SymDense
	b      *mat.VecDense
}

// linearise builds the normal equations at the current values; keep says
// whether every curve's share is kept.
func (j *joint) linearise(keep bool) (*normal, error) {
	n := len(j.freq)
	globals, reference, source := j.globals()
	out := &normal{
		blocks: make([]block, len(j.curves)),
		share:  make([]*mat.SymDense, len(j.curves)),
		rhs:    make([]*mat.VecDense, len(j.curves)),
		a:      mat.NewSymDense(globals, nil),
		b:      mat.NewVecDense(globals, nil),
	}
	if reference >= 0 {
		res, rows := priorTerms(j.reference)
		addPrior(out.a, out.b, reference, res, rows)
	}
	res, sd := j.source.prior()
	for k := range j.source.unknowns() {
		at := source + k
		out.a.SetSym(at, at, out.a.At(at, at)+1/(sd[k]*sd[k]))
		out.b.SetVec(at, out.b.AtVec(at)+res[k]/sd[k])
	}
	share := mat.NewSymDense(globals, nil)
	for i := range j.curves {
		if keep {
			share = mat.NewSymDense(globals, nil)
		}
		if err := j.eliminate(i, out, share); err != nil {
			return nil, err
		}
	}
	for k := range n {
		held := false
		for i := range j.curves {
			held = held || j.weight[i].At(k, k) > 0
		}
		if !held { // a frequency that no curve holds stays where it is
			out.a.SetSym(k, k, out.a.At(k, k)+1)
		}
	}
	return out, nil
}

// eliminate adds curve i to the normal equations. The derivative by the
// globals is the identity and a few columns for the reference leak and the
// source; only those columns need a product. share is overwritten.
func (j *joint) eliminate(i int, out *normal, share *mat.SymDense) error {
	n := len(j.freq)
	globals, reference, source := j.globals()
	leaks := j.leak[i].CornerHz > 0
	own := 1
	if leaks {
		own = 3
	}
	jo, d := mat.NewDense(n, own, nil), mat.NewDense(n, globals-n, nil)
	h := make([]float64, n)
	moves := false // the curve has a leak, so d is not zero
	for k, f := range j.freq {
		jo.Set(k, 0, 1)
		p := j.leak[i]
		if !leaks {
			p = j.reference
		}
		if p.CornerHz == 0 {
			continue
		}
		lv := j.source.level(p, f)
		h[k] = lv.level
		moves = true
		for u, v := range lv.own {
			if leaks {
				jo.Set(k, 1+u, v)
			} else {
				d.Set(k, reference-n+u, v)
			}
		}
		for u, v := range lv.bySource[:j.source.unknowns()] {
			d.Set(k, source-n+u, v)
		}
	}
	r := mat.NewVecDense(n, nil)
	j.leave(i, r, h)
	w, wo := j.weight[i], j.weightSum[i]
	if leaks {
		wo = mat.NewDense(n, own, nil)
		wo.Slice(0, n, 0, 1).(*mat.Dense).Copy(j.weightSum[i])
		wo.Slice(0, n, 1, own).(*mat.Dense).Copy(times(w, jo.Slice(0, n, 1, own).(*mat.Dense)))
	}
	var wr mat.VecDense
	wr.MulVec(w, r)

	right := mat.NewVecDense(globals, nil)
	bl := &out.blocks[i]
	bl.cross = *mat.NewDense(globals, own, nil)
	bl.cross.Slice(0, n, 0, own).(*mat.Dense).Copy(wo)
	for k := range n {
		right.SetVec(k, wr.AtVec(k))
	}
	share.Zero()
	share.CopySym(w)
	if moves {
		wd := times(w, d)
		var dd, dwo mat.Dense
		var dr mat.VecDense
		dd.Mul(d.T(), wd)
		dwo.Mul(d.T(), wo)
		dr.MulVec(d.T(), &wr)
		bl.cross.Slice(n, globals, 0, own).(*mat.Dense).Copy(&dwo)
		for u := range globals - n {
			right.SetVec(n+u, dr.AtVec(u))
			for k := range n {
				share.SetSym(k, n+u, wd.At(k, u))
			}
			for v := u; v < globals-n; v++ {
				share.SetSym(n+u, n+v, dd.At(u, v))
			}
		}
	}

	var oo mat.Dense
	oo.Mul(jo.T(), wo)
	bl.own = *stats.Symmetric(&oo)
	bl.rhs = mat.NewVecDense(own, nil)
	bl.rhs.MulVec(jo.T(), &wr)
	bl.own.SetSym(0, 0, bl.own.At(0, 0)+1/(gainSD*gainSD))
	bl.rhs.SetVec(0, bl.rhs.AtVec(0)-j.gain[i]/(gainSD*gainSD))
	if leaks {
		res, rows := priorTerms(j.leak[i])
		addPrior(&bl.own, bl.rhs, 1, res, rows)
	}
	if err := invert(&bl.inv, &bl.own); err != nil {
		return err
	}
	var t mat.Dense
	t.Mul(&bl.cross, &bl.inv)
	raw := share.RawSymmetric()
	for k := range globals {
		row, left := raw.Data[k*raw.Stride:], t.RawRowView(k)
		for l := k; l < globals; l++ {
			right := bl.cross.RawRowView(l)
			for u, v := range left {
				row[l] -= v * right[u]
			}
		}
	}
	var bo mat.VecDense
	bo.MulVec(&t, bl.rhs)
	right.SubVec(right, &bo)
	out.share[i], out.rhs[i] = share, right
	out.a.AddSym(out.a, share)
	out.b.AddVec(out.b, right)
	return nil
}
