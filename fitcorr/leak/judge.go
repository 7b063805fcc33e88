package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/stats"
)

// judge tests every curve against a reference that it had no part in, and gives the
// estimates their standard errors. A curve without which the reference is not
// determined gets no evidence.
func (j *joint) judge() ([]Estimate, error) {
	eq, err := j.linearise(true)
	if err != nil {
		return nil, err
	}
	cov, err := eq.covariance(j)
	if err != nil {
		return nil, err
	}
	est := make([]Estimate, len(j.curves))
	_, _, source := j.globals()
	level, by := j.referenceLevel()
	scatter, starts := j.scatter.covariance(j.freq), j.source.starts(j.freq)
	chi2 := distuv.ChiSquared{K: 2}
	for i := range j.curves {
		shift, left, ok := eq.without(i)
		if !ok {
			continue
		}
		one, err := j.against(i, level, by, shift, left, scatter, starts)
		if err != nil {
			return nil, err
		}
		e := &est[i]
		_, plain := one.gainOnly(nil)
		_, p, free := one.leaking()
		e.Params, e.Evidence = p, math.Max(0, plain-free)
		e.P = chi2.Survival(e.Evidence)
		e.square, e.squareSE = one.small()
		e.GainDB = j.gain[i]
		if j.leak[i].CornerHz > 0 {
			e.Cov = eq.blocks[i].covariance(cov, source, j.source.unknowns())
		}
	}
	return est, nil
}

// covariance is that of the global unknowns of j, whose equations these are; it sets j's
// referenceCov.
func (eq *normal) covariance(j *joint) (*mat.SymDense, error) {
	globals, reference, _ := j.globals()
	cov := new(mat.SymDense)
	if err := invert(cov, eq.a); err != nil {
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
	return cov, nil
}

// referenceLevel is the level of the reference seatings, dB, n long, with its derivative
// by the global unknowns, n × global.
func (j *joint) referenceLevel() (level []float64, by *mat.Dense) {
	n := len(j.freq)
	globals, reference, source := j.globals()
	by = mat.NewDense(n, globals, nil)
	level = append([]float64(nil), j.sealed...)
	for k, f := range j.freq {
		by.Set(k, k, 1)
		if reference >= 0 {
			lv := j.source.level(j.reference, f)
			by.Set(k, reference, lv.own[0])
			by.Set(k, reference+1, lv.own[1])
			for u, v := range lv.bySource[:j.source.unknowns()] {
				by.Set(k, source+u, v)
			}
			level[k] += lv.level
		}
	}
	return level, by
}

// without is by how much the global unknowns move when curve i is left out, and their
// covariance then; ok is false where the others determine nothing.
func (eq *normal) without(i int) (shift *mat.VecDense, left *mat.SymDense, ok bool) {
	var rest mat.SymDense
	rest.ScaleSym(-1, eq.addedA[i])
	rest.AddSym(&rest, eq.a)
	for k := range rest.SymmetricDim() {
		rest.SetSym(k, k, rest.At(k, k)+1e-4)
	}
	shift, left = new(mat.VecDense), new(mat.SymDense)
	if err := invert(left, &rest); err != nil {
		return nil, nil, false
	}
	// At the minimum what the curves add to the right side sums to zero, so leaving one
	// out moves the globals by −left·b_i.
	shift.MulVec(left, eq.addedB[i])
	return shift, left, true
}

// against is curve i against the reference level of the others, whose uncertainty (left:
// the covariance of the global unknowns) is in the weights with the scatter.
func (j *joint) against(i int, level []float64, by *mat.Dense, shift *mat.VecDense, left, scatter *mat.SymDense, starts []startLeak) (single, error) {
	n := len(j.freq)
	var moved mat.VecDense
	moved.MulVec(by, shift)
	v := left.SliceSym(0, n).(*mat.SymDense) // without a reference leak the derivative is the identity
	if j.reference.CornerHz > 0 {
		var t, spread mat.Dense
		t.Mul(by, left)
		spread.Mul(&t, by.T())
		v = stats.Symmetric(&spread)
	}
	v.AddSym(v, scatter)
	w, _, err := weightOf(v, j.curves[i].VarDB)
	if err != nil {
		return single{}, err
	}
	y := mat.NewVecDense(n, nil)
	for k := range n {
		if w.At(k, k) > 0 {
			y.SetVec(k, j.curves[i].LevelDB[k]-level[k]+moved.AtVec(k))
		}
	}
	return newSingle(j.freq, j.source, starts, y, w), nil
}

// covariance is that of a curve's leak and the source as the joint fit has it; cov is
// the covariance of the global unknowns, of which the source's begin at source. With C that and B = cross·own⁻¹, it is
// own⁻¹ + B'CB for the own unknowns and −CB between both.
func (bl *block) covariance(cov *mat.SymDense, source, unknowns int) (out Covariance) {
	var b, cb, own mat.Dense
	b.Mul(&bl.cross, &bl.inv)
	cb.Mul(cov, &b)
	own.Mul(b.T(), &cb)
	own.Add(&own, &bl.inv)
	for p := range 2 {
		for q := range 2 {
			out[p][q] = own.At(1+p, 1+q)
		}
		for u := range unknowns {
			out[p][2+u] = -cb.At(source+u, 1+p)
			out[2+u][p] = out[p][2+u]
		}
	}
	for u := range unknowns {
		for v := range unknowns {
			out[2+u][2+v] = cov.At(source+u, source+v)
		}
	}
	return out
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
