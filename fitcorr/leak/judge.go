package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/stats"
)

// judge tests every curve against a reference that it had no part in.
func (j *joint) judge() ([]Estimate, error) {
	eq, err := j.linearise(true)
	if err != nil {
		return nil, err
	}
	n := len(j.freq)
	globals, reference, source := j.globals()
	chi2 := distuv.ChiSquared{K: 2}
	est := make([]Estimate, len(j.curves))
	var cov mat.SymDense
	if err := invert(&cov, eq.a); err != nil {
		return nil, err
	}
	if reference >= 0 {
		j.referenceCov = Covariance{} // leak and source follow each other in the globals
		for a := range globals - reference {
			for b := range globals - reference {
				j.referenceCov[a][b] = cov.At(reference+a, reference+b)
			}
		}
	}
	ref := mat.NewDense(n, globals, nil) // the reference's derivative by the globals
	base := append([]float64(nil), j.sealed...)
	for k, f := range j.freq {
		ref.Set(k, k, 1)
		if reference >= 0 {
			lv := j.source.level(j.reference, f)
			ref.Set(k, reference, lv.own[0])
			ref.Set(k, reference+1, lv.own[1])
			for u, v := range lv.bySource[:j.source.unknowns()] {
				ref.Set(k, source+u, v)
			}
			base[k] += lv.level
		}
	}
	scatter, starts := j.scatter.covariance(j.freq), j.source.starts(j.freq)
	for i := range j.curves {
		var left, rest mat.SymDense
		rest.ScaleSym(-1, eq.share[i])
		rest.AddSym(&rest, eq.a)
		for k := range globals {
			rest.SetSym(k, k, rest.At(k, k)+1e-4)
		}
		if err := invert(&left, &rest); err != nil {
			continue // without this curve nothing is known: nothing to judge against
		}
		// At the minimum the shares of the right side sum to zero, so leaving
		// one out moves the globals by −left·b_i.
		var shift, moved mat.VecDense
		shift.MulVec(&left, eq.rhs[i])
		moved.MulVec(ref, &shift)
		v := left.SliceSym(0, n).(*mat.SymDense) // without a reference leak the derivative is the identity
		if reference >= 0 {
			var t, spread mat.Dense
			t.Mul(ref, &left)
			spread.Mul(&t, ref.T())
			v = stats.Symmetric(&spread)
		}
		v.AddSym(v, scatter)
		w, _, err := weightOf(v, j.curves[i].VarDB)
		if err != nil {
			return nil, err
		}
		y := mat.NewVecDense(n, nil)
		for k := range n {
			if w.At(k, k) > 0 {
				y.SetVec(k, j.curves[i].LevelDB[k]-base[k]+moved.AtVec(k))
			}
		}
		one := newSingle(j.freq, j.source, starts, y, w)
		e := &est[i]
		_, plain := one.gainOnly(nil)
		_, p, free := one.leaking()
		e.Params, e.Evidence = p, math.Max(0, plain-free)
		e.P = chi2.Survival(e.Evidence)
		e.square, e.squareSE = one.small()
		e.GainDB = j.gain[i]
		if j.leak[i].CornerHz > 0 { // covariance of the joint fit
			bl := &eq.blocks[i]
			var u, cu, full mat.Dense
			u.Mul(&bl.cross, &bl.inv)
			cu.Mul(&cov, &u)
			full.Mul(u.T(), &cu)
			full.Add(&full, &bl.inv)
			for a := range 2 {
				for b := range 2 {
					e.Cov[a][b] = full.At(1+a, 1+b)
				}
				for u := range j.source.unknowns() {
					e.Cov[a][2+u] = -cu.At(source+u, 1+a)
					e.Cov[2+u][a] = e.Cov[a][2+u]
				}
			}
			for u := range j.source.unknowns() {
				for v := range j.source.unknowns() {
					e.Cov[2+u][2+v] = cov.At(source+u, source+v)
				}
			}
		}
	}
	return est, nil
}

// reclass sets every curve's class by its evidence and reports whether any
// changed. One curve at least stays in the reference.
func (j *joint) reclass(est []Estimate) bool {
	changed, sealed, least := false, 0, 0
	for i, e := range est {
		leaks := e.P < falseLeak && j.source.LossDB(e.Params, lowHz) > -mostGainDB
		if !leaks {
			sealed++
		}
		if e.Evidence < est[least].Evidence {
			least = i
		}
		if leaks != (j.leak[i].CornerHz > 0) {
			changed = true
			j.leak[i] = Params{}
			if leaks {
				j.leak[i] = e.Params
			}
		}
	}
	if sealed == 0 {
		j.leak[least] = Params{}
	}
	return changed
}

// falseLeak is the chance per seating of calling a sealed one leaking.
const falseLeak = 0.01

// A leak that adds more than mostGainDB at lowHz would be a resonance below the
// range: no leak that levels can show.
const (
	lowHz      = 20.0
	mostGainDB = 0.5
)
