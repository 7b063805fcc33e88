package leak

import (
	"fmt"
	"math"
	"sort"

	"asworn/fitcorr/stats"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// start aligns the curves in the upper half of the range, takes those with
// within near dB of the most low end as the reference and gives every other curve a leak found
// on a grid.
func (j *joint) start(near float64) error {
	if err := j.weigh(startScatter); err != nil {
		return err
	}
	n := len(j.freq)
	low, high := n/4, n/2
	mean := func(c Curve, from, to int) float64 {
		sum, w := 0.0, 0.0
		for k := from; k < to; k++ {
			if v := c.VarDB[k]; !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k]
				w++
			}
		}
		if w == 0 {
			return math.NaN()
		}
		return sum / w
	}
	index := make([]float64, len(j.curves))
	j.gain, j.leak = make([]float64, len(j.curves)), make([]Params, len(j.curves))
	total := 0.0
	for i, c := range j.curves {
		j.gain[i] = mean(c, high, n)
		index[i] = mean(c, 0, low) - j.gain[i]
		if math.IsNaN(index[i]) {
			return fmt.Errorf("leak: curve %d has no valid level in a quarter of the range", i)
		}
		total += j.gain[i]
	}
	for i := range j.gain {
		j.gain[i] -= total / float64(len(j.gain))
	}
	order := append([]float64(nil), index...)
	sort.Sort(sort.Reverse(sort.Float64Slice(order)))
	// The second highest, lest one odd recording be the reference alone.
	j.sealed = make([]float64, n)
	for k := range n {
		sum, w := 0.0, 0.0
		for i, c := range j.curves {
			if v := c.VarDB[k]; index[i] >= order[1]-near && !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k] - j.gain[i]
				w++
			}
		}
		if w > 0 {
			j.sealed[k] = sum / w
		}
	}
	y, starts := mat.NewVecDense(n, nil), j.source.starts(j.freq)
	for i, c := range j.curves {
		if index[i] >= order[1]-near {
			continue
		}
		for k := range n {
			y.SetVec(k, 0)
			if j.weight[i].At(k, k) > 0 {
				y.SetVec(k, c.LevelDB[k]-j.sealed[k])
			}
		}
		one := newSingle(j.freq, j.source, starts, y, j.weight[i])
		g, p, _ := one.leaking()
		j.gain[i], j.leak[i] = g, p
	}
	return nil
}

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
