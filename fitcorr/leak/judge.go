package leak

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/stats"
)

// judge tests every curve against a reference that it had no part in, and gives the
// estimates their standard errors. A curve without which the reference is not
// determined gets no evidence.
func (j *joint) judge() ([]Estimate, error) {
	eq := newNormal(j)
	eq.objective()
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
	test := func(i int, one single) {
		e := &est[i]
		_, plain := one.gainOnly(nil)
		_, p, free := one.leaking()
		e.Params, e.Evidence = p, math.Max(0, plain-free)
		e.P = chi2.Survival(e.Evidence)
		e.square, e.squareSE = one.small()
		e.GainDB = j.gain[i]
	}
	for _, bl := range eq.blocks {
		i := bl.curve
		shift, left, ok := eq.without(bl)
		if !ok {
			continue
		}
		one, err := j.against(i, level, by, shift, left, scatter, starts)
		if err != nil {
			return nil, err
		}
		test(i, one)
		est[i].Cov = bl.covariance(cov, source, j.source.unknowns())
	}
	spread, ok := eq.spread(by)
	work := newAmid(len(j.freq))
	for _, i := range eq.alike.curves {
		if !ok {
			break
		}
		if one, ok := j.among(i, eq.alike.level, spread, starts, work); ok {
			test(i, one)
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
	w := mat.NewDense(n, n, nil)
	if _, err := setWeight(w, v, j.curves[i].VarDB, mat.NewSymDense(n, nil)); err != nil {
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

// amid is work space of among, n × n each: W times the spread, the weight that the next curve
// overwrites, and its factor.
type amid struct {
	once, weight *mat.Dense
	factor       *mat.SymDense
}

func newAmid(n int) amid {
	return amid{mat.NewDense(n, n, nil), mat.NewDense(n, n, nil), mat.NewSymDense(n, nil)}
}

// among is curve i, without a leak, against the reference level of the others, where reference is what the
// reference leaks, dB, and spread the covariance of their level with the curve in it, n × n. Leaving it out takes from the equations what it
// says of the level, W less what its gain takes up, ww'/s with w = W·1. So with T the covariance of the
// level of the others, (T⁻¹ + W)⁻¹ is M = S − Sww'S/(s + w'Sw), and
//
//	(T + W⁻¹)⁻¹ = W − WMW
//
// is the weight of the curve against them. It lies beside their level by r + TWr of its residual r with
// the gain taken off, that is by (T + W⁻¹)·Wr. False where that weight has no inverse.
func (j *joint) among(i int, reference []float64, spread *mat.Dense, starts []startLeak, work amid) (single, bool) {
	n := len(j.freq)
	w, ones := j.weight[i], j.weightSum[i]
	s := floats.Sum(ones) + 1/(gainSD*gainSD)
	once, against, factor := work.once, work.weight, work.factor
	stats.Multiply(once, w, spread)
	stats.Multiply(against, once, w)
	taken := mat.NewVecDense(n, nil)
	taken.MulVec(once, mat.NewVecDense(n, ones))
	var at mat.VecDense
	at.MulVec(spread, mat.NewVecDense(n, ones))
	scale := 1 / (s + floats.Dot(ones, at.RawVector().Data))
	for k := range n {
		for l := k; l < n; l++ {
			v := w.At(k, l) - (against.At(k, l)+against.At(l, k))/2 + scale*taken.AtVec(k)*taken.AtVec(l)
			against.Set(k, l, v)
			against.Set(l, k, v)
			factor.SetSym(k, l, v)
		}
		if w.At(k, k) == 0 {
			factor.SetSym(k, k, 1)
		}
	}
	r := j.residual(i, make([]float64, n), reference)
	gain := (floats.Dot(ones, r) - j.gain[i]/(gainSD*gainSD)) / s
	floats.AddConst(-gain, r)
	y := mat.NewVecDense(n, nil)
	y.MulVec(w, mat.NewVecDense(n, r))
	u, ok := stats.Factorize(factor)
	if !ok {
		return single{}, false
	}
	solveBy(blas64.Triangular(u), y)
	for k := range n {
		y.SetVec(k, y.AtVec(k)+j.gain[i]+gain)
		if w.At(k, k) == 0 {
			y.SetVec(k, 0)
		}
	}
	return newSingle(j.freq, j.source, starts, y.RawVector().Data, against), true
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
			changed, j.alike = true, nil
			j.leak[i] = Params{}
			if leaks {
				j.leak[i] = e.Params
			}
		}
	}
	if sealed == 0 {
		changed, j.alike = true, nil
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
