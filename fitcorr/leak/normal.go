package leak

import (
	"gonum.org/v1/gonum/floats"
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
// so that the own ones are eliminated (Schur complement), curve by curve (block) or of all that
// do not leak at once (pooled), and A holds the global ones alone.

// normal is the linearised system of a fit. What depends on weights and classes alone is
// worked out once, and every step overwrites the rest.
type normal struct {
	j       *joint
	alike   *pooled       // the curves without a leak of their own
	blocks  []*block      // the others
	weight  *mat.Dense    // sum of the others' weights, n × n
	missing []int         // frequencies that no curve holds
	a       *mat.SymDense // global × global
	b       *mat.VecDense // global
}

// newNormal prepares the equations for the weights and classes of j, which must stay.
func newNormal(j *joint) *normal {
	n := len(j.freq)
	globals, reference, _ := j.globals()
	if j.alike == nil {
		j.alike = newPooled(j)
	}
	alike := *j.alike
	alike.level = make([]float64, n)
	if reference >= 0 {
		alike.change = mat.NewDense(globals-reference, n, nil)
	}
	eq := &normal{j: j, alike: &alike, weight: mat.NewDense(n, n, nil), a: mat.NewSymDense(globals, nil), b: mat.NewVecDense(globals, nil)}
	for i := range j.curves {
		if j.leaks(i) {
			eq.blocks = append(eq.blocks, newBlock(j, i))
			eq.weight.Add(eq.weight, j.weight[i])
		}
	}
	for k := range n {
		if eq.weight.At(k, k)+eq.alike.weight.At(k, k) == 0 {
			eq.missing = append(eq.missing, k)
		}
	}
	return eq
}

// objective is the weighted sum of squares with the priors at the current values.
func (eq *normal) objective() float64 {
	j := eq.j
	eq.alike.move(j)
	sum := eq.alike.objective(j)
	prior := func(p Params) {
		if p.CornerHz > 0 {
			res, _ := priorTerms(p)
			sum += res[0]*res[0] + res[1]*res[1]
		}
	}
	for _, bl := range eq.blocks {
		i := bl.curve
		j.source.levels(bl.level, j.leak[i], j.freq)
		sum += square(j.weight[i], j.residual(i, bl.x.RawRowView(0), bl.level)) + j.gain[i]*j.gain[i]/(gainSD*gainSD)
		prior(j.leak[i])
	}
	prior(j.reference)
	res, _ := j.source.prior()
	for _, r := range res {
		sum += r * r
	}
	return sum
}

// linearise sets the equations to the current values, of which objective was asked last, whose levels
// it takes. errSingular where a curve does not determine its own unknowns.
func (eq *normal) linearise() error {
	j := eq.j
	_, reference, source := j.globals()
	eq.a.Zero()
	eq.b.Zero()
	if reference >= 0 {
		res, rows := priorTerms(j.reference)
		addPrior(eq.a, eq.b, reference, res, rows)
	}
	res, sd := j.source.prior()
	for k := range j.source.unknowns() {
		at := source + k
		stats.AddSym(eq.a, at, at, 1/(sd[k]*sd[k]))
		eq.b.SetVec(at, eq.b.AtVec(at)+res[k]/sd[k])
	}
	for _, k := range eq.missing { // stays where it is
		stats.AddSym(eq.a, k, k, 1)
	}
	eq.alike.add(j, eq.a, eq.b)
	addWeight(eq.a, eq.weight)
	for _, bl := range eq.blocks {
		if err := bl.linearise(j); err != nil {
			return err
		}
		bl.add(eq.a, eq.b)
	}
	return nil
}

// addWeight adds a weight, n × n, to the sealed curve's part of a.
func addWeight(a *mat.SymDense, weight *mat.Dense) {
	n, _ := weight.Dims()
	raw := a.RawSymmetric()
	for k := range n {
		floats.Add(raw.Data[k*raw.Stride+k:k*raw.Stride+n], weight.RawRowView(k)[k:])
	}
}

// solve is the step of the global unknowns and of each curve's own; it leaves nothing of the equations.
func (eq *normal) solve() (global *mat.VecDense, own [][]float64, err error) {
	global, own = new(mat.VecDense), make([][]float64, len(eq.j.curves))
	if err := solve(global, eq.a, eq.b); err != nil {
		return nil, nil, err
	}
	eq.alike.steps(eq.j, global, own)
	for _, bl := range eq.blocks {
		own[bl.curve] = bl.step(global)
	}
	return global, own, nil
}

// steady is what is added to the diagonal of equations that a curve was left out of, dB⁻².
const steady = 1e-4

// without is by how much the global unknowns move when the curve of a block is left out, and
// their covariance then; ok is false where the others determine nothing.
func (eq *normal) without(bl *block) (shift *mat.VecDense, left *mat.SymDense, ok bool) {
	rest := mat.NewSymDense(eq.a.SymmetricDim(), nil)
	added := mat.NewVecDense(eq.b.Len(), nil)
	addWeight(rest, eq.j.weight[bl.curve])
	bl.add(rest, added)
	rest.ScaleSym(-1, rest)
	rest.AddSym(rest, eq.a)
	if left, ok = steadied(rest); !ok {
		return nil, nil, false
	}
	shift = new(mat.VecDense)
	// At the minimum what the curves add to the right side sums to zero, so leaving one
	// out moves the globals by −left·b_i.
	shift.MulVec(left, added)
	return shift, left, true
}

// steadied is the inverse of equations with steady on their diagonal, in their place.
func steadied(a *mat.SymDense) (*mat.SymDense, bool) {
	for k := range a.SymmetricDim() {
		stats.AddSym(a, k, k, steady)
	}
	factor, ok := stats.Factorize(a)
	if !ok {
		return nil, false
	}
	return factor.Inverse(), true
}

// spread is the covariance of the level of the reference seatings, dB², n × n, of which by is the
// derivative by the global unknowns.
func (eq *normal) spread(by *mat.Dense) (*mat.Dense, bool) {
	cov, ok := steadied(copyOf(eq.a))
	if !ok {
		return nil, false
	}
	return stats.Product(stats.Product(by, mat.DenseCopyOf(cov)), stats.Transposed(by)), true
}

// covariance is that of the global unknowns; it sets the joint fit's referenceCov.
func (eq *normal) covariance() (*mat.SymDense, error) {
	globals, reference, _ := eq.j.globals()
	cov := new(mat.SymDense)
	if err := invert(cov, copyOf(eq.a)); err != nil {
		return nil, err
	}
	if reference >= 0 {
		eq.j.referenceCov = Covariance{} // leak and source follow each other in the globals
		for a := range globals - reference {
			for b := range globals - reference {
				eq.j.referenceCov[a][b] = cov.At(reference+a, reference+b)
			}
		}
	}
	return cov, nil
}
