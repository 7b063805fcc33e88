package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// noLimit lets a fit go on to its minimum.
var noLimit = math.Inf(1)

// fit runs Gauss–Newton with step halving until the objective settles. It gives up where
// the objective will not come below limit: when the last step took off little and as many
// as are left, each several times as large, would not bring it there. Far from a minimum,
// and where steps must be halved, one step says nothing of the next.
func (j *joint) fit(limit float64) error {
	const maxSteps, small, little, hope = 40, 1e-4, 1.0, 4
	eq := newNormal(j)
	now := eq.objective()
	for step := range maxSteps {
		if err := eq.linearise(); err != nil {
			return err
		}
		global, own, err := eq.solve()
		if err != nil {
			return err
		}
		before, scale, fall := *j, 1.0, 0.0
		for ; scale > 1e-3; scale /= 2 {
			j.step(&before, global, own, scale)
			next := eq.objective()
			if next <= now {
				now, fall = next, now-next
				break
			}
		}
		if scale <= 1e-3 { // no way down: this is the minimum to rounding
			*j = before
			return nil
		}
		if left := float64(maxSteps - 1 - step); fall < small || fall < little && scale == 1 && now-hope*left*fall >= limit {
			return nil
		}
	}
	return nil
}

// step sets the values to those of from moved by scale times the solution.
func (j *joint) step(from *joint, global *mat.VecDense, own [][]float64, scale float64) {
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
		j.gain[i] = from.gain[i] + scale*own[i][0]
		j.leak[i] = from.leak[i]
		if len(own[i]) == 3 {
			j.leak[i] = move(from.leak[i], scale*own[i][1], scale*own[i][2])
		}
	}
}
