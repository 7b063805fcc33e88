package leak

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// The normal equations of one Gauss–Newton step, A·x = b, over n frequencies and the
// curves of one ear. Unknowns come in two kinds:
//
//	global        length          unit
//	  sealed      n               dB
//	  reference   2, if fitted    ln f₀ and ln damping of what the reference leaks
//	  source      4, or 7         see Source.vector
//	own           1, or 3 with a leak, for each curve
//	  gain        1               dB
//	  leak        2               ln f₀, ln damping
//
// Curves speak of their own unknowns and of the global ones, never of another curve's,
// so that the own ones are eliminated curve by curve (Schur complement) and A holds the
// global ones alone.

// block is what one curve says of its own unknowns and how they go with the global ones.
type block struct {
	own   mat.SymDense  // own × own, priors included
	cross mat.Dense     // global × own
	rhs   *mat.VecDense // own
	inv   mat.SymDense  // inverse of own
}

// normal is the linearised system with the curves' own unknowns eliminated.
type normal struct {
	blocks []block         // per curve
	a      *mat.SymDense   // global × global
	b      *mat.VecDense   // global
	addedA []*mat.SymDense // per curve: what it adds to a; one matrix used again unless kept
	addedB []*mat.VecDense // and to b
}

// linearise builds the normal equations at the current values; keep says
// whether what each curve adds is kept. errSingular where a curve does not determine
// its own unknowns.
func (j *joint) linearise(keep bool) (*normal, error) {
	n := len(j.freq)
	globals, reference, source := j.globals()
	out := &normal{
		blocks: make([]block, len(j.curves)),
		a:      mat.NewSymDense(globals, nil),
		b:      mat.NewVecDense(globals, nil),
		addedA: make([]*mat.SymDense, len(j.curves)),
		addedB: make([]*mat.VecDense, len(j.curves)),
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
	added := mat.NewSymDense(globals, nil)
	for i := range j.curves {
		if keep {
			added = mat.NewSymDense(globals, nil)
		}
		if err := j.eliminate(i, out, added); err != nil {
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

// derivative is how the level of one curve changes, in dB per unit of the unknowns.
type derivative struct {
	own *mat.Dense // n × own
	// beyond is by the global unknowns behind the sealed curve, n × (global − n): by the
	// sealed curve itself it is the identity.
	beyond *mat.Dense
	zero   bool      // beyond is zero: neither curve nor reference leaks
	h      []float64 // 20 lg|H|, dB, n
}

// derivative is that of curve i at the current values.
func (j *joint) derivative(i int) derivative {
	n := len(j.freq)
	globals, reference, source := j.globals()
	leaks := j.leak[i].CornerHz > 0
	own := 1
	if leaks {
		own = 3
	}
	d := derivative{own: mat.NewDense(n, own, nil), beyond: mat.NewDense(n, globals-n, nil), zero: true, h: make([]float64, n)}
	for k, f := range j.freq {
		d.own.Set(k, 0, 1)
		p := j.leak[i]
		if !leaks {
			p = j.reference
		}
		if p.CornerHz == 0 {
			continue
		}
		lv := j.source.level(p, f)
		d.h[k] = lv.level
		d.zero = false
		for u, v := range lv.own {
			if leaks {
				d.own.Set(k, 1+u, v)
			} else {
				d.beyond.Set(k, reference-n+u, v)
			}
		}
		for u, v := range lv.bySource[:j.source.unknowns()] {
			d.beyond.Set(k, source-n+u, v)
		}
	}
	return d
}

// eliminate adds curve i to the normal equations; added, global × global, is
// overwritten with what it adds to a.
func (j *joint) eliminate(i int, out *normal, added *mat.SymDense) error {
	n := len(j.freq)
	globals, _, _ := j.globals()
	d := j.derivative(i)
	_, own := d.own.Dims()
	r := mat.NewVecDense(n, nil)
	j.leave(i, r, d.h)
	w, wo := j.weight[i], j.weightSum[i]
	if own > 1 {
		wo = mat.NewDense(n, own, nil)
		wo.Slice(0, n, 0, 1).(*mat.Dense).Copy(j.weightSum[i])
		wo.Slice(0, n, 1, own).(*mat.Dense).Copy(times(w, d.own.Slice(0, n, 1, own).(*mat.Dense)))
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
	added.Zero()
	added.CopySym(w)
	if !d.zero {
		d.addBeyond(bl, added, right, w, wo, &wr)
	}

	var oo mat.Dense
	oo.Mul(d.own.T(), wo)
	bl.own = *stats.Symmetric(&oo)
	bl.rhs = mat.NewVecDense(own, nil)
	bl.rhs.MulVec(d.own.T(), &wr)
	bl.own.SetSym(0, 0, bl.own.At(0, 0)+1/(gainSD*gainSD))
	bl.rhs.SetVec(0, bl.rhs.AtVec(0)-j.gain[i]/(gainSD*gainSD))
	if own > 1 {
		res, rows := priorTerms(j.leak[i])
		addPrior(&bl.own, bl.rhs, 1, res, rows)
	}
	if err := invert(&bl.inv, &bl.own); err != nil {
		return err
	}
	bl.complement(added, right)
	out.addedA[i], out.addedB[i] = added, right
	out.a.AddSym(out.a, added)
	out.b.AddVec(out.b, right)
	return nil
}

// addBeyond fills in what a curve says of the global unknowns behind the sealed curve.
// Only these columns need a product; w is the curve's weight, wo its product with
// d.own and wr that with the residual.
func (d derivative) addBeyond(bl *block, added *mat.SymDense, right *mat.VecDense, w *mat.SymDense, wo *mat.Dense, wr *mat.VecDense) {
	n, own := d.own.Dims()
	globals := added.SymmetricDim()
	wd := times(w, d.beyond)
	var dd, dwo mat.Dense
	var dr mat.VecDense
	dd.Mul(d.beyond.T(), wd)
	dwo.Mul(d.beyond.T(), wo)
	dr.MulVec(d.beyond.T(), wr)
	bl.cross.Slice(n, globals, 0, own).(*mat.Dense).Copy(&dwo)
	for u := range globals - n {
		right.SetVec(n+u, dr.AtVec(u))
		for k := range n {
			added.SetSym(k, n+u, wd.At(k, u))
		}
		for v := u; v < globals-n; v++ {
			added.SetSym(n+u, n+v, dd.At(u, v))
		}
	}
}

// complement takes off what the own unknowns take up: cross·own⁻¹·cross' of added and
// cross·own⁻¹·rhs of right.
func (bl *block) complement(added *mat.SymDense, right *mat.VecDense) {
	var t mat.Dense
	t.Mul(&bl.cross, &bl.inv)
	raw := added.RawSymmetric()
	for k := range raw.N {
		row, left := raw.Data[k*raw.Stride:], t.RawRowView(k)
		for l := k; l < raw.N; l++ {
			cross := bl.cross.RawRowView(l)
			for u, v := range left {
				row[l] -= v * cross[u]
			}
		}
	}
	var bo mat.VecDense
	bo.MulVec(&t, bl.rhs)
	right.SubVec(right, &bo)
}
