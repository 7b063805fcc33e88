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
	eq := newNormal(j)
	if err := eq.linearise(); err != nil {
		return nil, err
	}
	cov, err := eq.covariance()
	if err != nil {
		return nil, err
	}
	est := make([]Estimate, len(j.curves))
	_, _, source := j.globals()
	level, by := j.referenceLevel()
	scatter, starts := j.scatter.covariance(j.freq), j.source.starts(j.freq)
	chi2 := distuv.ChiSquared{K: 2}
	for i := range j.curves {
		bl, err := eq.block(i)
		if err != nil {
			return nil, err
		}
		shift, left, ok := eq.without(bl)
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
		if j.leaks(i) {
			e.Cov = bl.covariance(cov, source, j.source.unknowns())
		}
	}
	return est, nil
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
	y := make([]float64, n)
	for k := range y {
		if w.At(k, k) > 0 {
			y[k] = j.curves[i].LevelDB[k] - level[k] + moved.AtVec(k)
		}
	}
	return newSingle(j.freq, j.source, starts, y, w), nil
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
		if leaks != j.leaks(i) {
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
