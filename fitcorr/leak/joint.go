package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Curve is the low end of one ear of one seating, on the frequencies that are
// handed to Fit.
type Curve struct {
	LevelDB []float64
	VarDB   []float64 // variance of LevelDB from noise, dB²; +Inf leaves the point out
}

// Prior knowledge, wide on purpose: it steadies what one curve cannot say
// (a heavily damped leak shows only f₀·Q) and yields to any real data.
const (
	gainSD = 10.0 // dB, of a seating's level

	priorCornerHz = 60.0
	priorCornerSD = 1.5 // nepers

	// R/M = 10η/(ρh²) of a slit depends on its height alone; 0.3 mm within a
	// factor of 2.2 either way (one standard deviation, ln h ± 0.8).
	priorHeight   = 3e-4
	priorHeightSD = 0.8
)

// priorRate is R/M of the prior slit over 2π, in Hz: the prior of f₀/Q.
var priorRate = 10 * airViscosity / (airDensity * priorHeight * priorHeight) / (2 * math.Pi)

// joint is the model of all seatings of one ear,
//
//	level_i(f) = sealed(f) + gain_i + 20 lg|H(f; leak_i)| + scatter_i(f),
//
// with the sealed curve free at every frequency. Seatings whose leak has a
// corner of zero form the reference; reference is what they leak in common.
type joint struct {
	freq      []float64
	curves    []Curve
	scatter   Scatter         // between seatings
	weight    []*mat.SymDense // inverse covariance per curve, zero where left out
	weightSum []*mat.Dense    // weight times a column of ones
	logDet    []float64       // log-determinant of the covariance per curve
	sealed    []float64
	gain      []float64
	leak      []Params
	reference Params
	source    Source

	referenceCov Covariance // set by judge
}

// globals lays out the global unknowns: the sealed curve, then the reference
// leak where it is fitted (its first index, else −1), then the source.
func (j *joint) globals() (total, reference, source int) {
	total, reference = len(j.freq), -1
	if j.reference.CornerHz > 0 {
		reference, total = total, total+2
	}
	return total + j.source.unknowns(), reference, total
}

// h writes 20 lg|H| of curve i and returns it.
func (j *joint) h(i int, dst []float64) []float64 {
	p := j.leak[i]
	if p.CornerHz == 0 {
		p = j.reference
	}
	for k, f := range j.freq {
		dst[k] = 0
		if p.CornerHz > 0 {
			dst[k] = j.source.levelDB(p, f)
		}
	}
	return dst
}

// priorTerms returns the residuals (prior − value, in standard deviations) of
// a leak and the matching rows of the derivative by ln f₀ and ln damping.
func priorTerms(p Params) (res [2]float64, rows [2][2]float64) {
	lf, ld := math.Log(p.CornerHz), math.Log(p.Damping)
	const heightSD = 2 * priorHeightSD
	res[0] = (math.Log(priorCornerHz) - lf) / priorCornerSD
	rows[0] = [2]float64{1 / priorCornerSD, 0}
	res[1] = (math.Log(priorRate) - lf - ld) / heightSD
	rows[1] = [2]float64{1 / heightSD, 1 / heightSD}
	return res, rows
}

// objective is the weighted sum of squares with the priors.
func (j *joint) objective() float64 {
	n := len(j.freq)
	sum, r, h := 0.0, mat.NewVecDense(n, nil), make([]float64, n)
	prior := func(p Params) {
		if p.CornerHz > 0 {
			res, _ := priorTerms(p)
			sum += res[0]*res[0] + res[1]*res[1]
		}
	}
	for i := range j.curves {
		j.residual(i, r, h)
		sum += mat.Inner(r, j.weight[i], r) + j.gain[i]*j.gain[i]/(gainSD*gainSD)
		prior(j.leak[i])
	}
	prior(j.reference)
	res, _ := j.source.prior()
	for _, r := range res {
		sum += r * r
	}
	return sum
}

// residual sets r to what curve i leaves unexplained; h is scratch.
func (j *joint) residual(i int, r *mat.VecDense, h []float64) {
	j.leave(i, r, j.h(i, h))
}

// leave is residual with h known.
func (j *joint) leave(i int, r *mat.VecDense, h []float64) {
	for k := range h {
		v := j.curves[i].LevelDB[k] - j.sealed[k] - j.gain[i] - h[k]
		if j.weight[i].At(k, k) == 0 {
			v = 0 // left out; the level may be NaN
		}
		r.SetVec(k, v)
	}
}

// fit runs Gauss–Newton with step halving until the objective settles.
func (j *joint) fit() error {
	const maxSteps, small = 40, 1e-4
	now := j.objective()
	for range maxSteps {
		eq, err := j.linearise(false)
		if err != nil {
			return err
		}
		var global mat.VecDense
		if err := solve(&global, eq.a, eq.b); err != nil {
			return err
		}
		own := make([]mat.VecDense, len(j.curves))
		for i := range own {
			bl := &eq.blocks[i]
			var t mat.VecDense
			t.MulVec(bl.cross.T(), &global)
			t.SubVec(bl.rhs, &t)
			own[i].MulVec(&bl.inv, &t)
		}
		before, scale, done := *j, 1.0, false
		for ; scale > 1e-3; scale /= 2 {
			j.step(&before, &global, own, scale)
			next := j.objective()
			if next <= now {
				done = now-next < small
				now = next
				break
			}
		}
		if scale <= 1e-3 { // no way down: this is the minimum to rounding
			*j = before
			return nil
		}
		if done {
			return nil
		}
	}
	return nil
}

// step sets the values to those of from moved by scale times the solution.
func (j *joint) step(from *joint, global *mat.VecDense, own []mat.VecDense, scale float64) {
	n := len(j.freq)
	j.sealed = make([]float64, n)
	for k := range n {
		j.sealed[k] = from.sealed[k] + scale*global.AtVec(k)
	}
	_, reference, source := from.globals()
	if reference >= 0 {
		j.reference = move(from.reference, scale*global.AtVec(reference), scale*global.AtVec(reference+1))
	}
	v := from.source.vector()
	for k := range v {
		v[k] += math.Min(math.Max(scale*global.AtVec(source+k), -1), 1)
	}
	j.source = sourceFrom(v)
	j.gain, j.leak = make([]float64, len(own)), make([]Params, len(own))
	for i := range own {
		j.gain[i] = from.gain[i] + scale*own[i].AtVec(0)
		j.leak[i] = from.leak[i]
		if own[i].Len() == 3 {
			j.leak[i] = move(from.leak[i], scale*own[i].AtVec(1), scale*own[i].AtVec(2))
		}
	}
}

// move changes a leak by steps in ln f₀ and ln damping, kept within what a
// double can hold and a leak can be.
func move(p Params, dCorner, dDamping float64) Params {
	clamp := func(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
	return Params{
		CornerHz: clamp(p.CornerHz*math.Exp(clamp(dCorner, -1, 1)), 0.1, 5000),
		Damping:  clamp(p.Damping*math.Exp(clamp(dDamping, -1, 1)), 0.01, 1000),
	}
}
