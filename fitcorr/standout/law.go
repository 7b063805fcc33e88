package standout

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/stats"
)

// law is how the rows of a group scatter before the group itself is heard, in
// coordinates in which Ψ is the unit matrix (whiten).
type law struct {
	columns int     // p
	excess  float64 // ν − p − 1, above 0: how nearly groups have the shape Ψ
}

// excesses are the values of ν − p − 1 that compete. At the least the shape of
// other groups hardly counts, at the most it is the group's own.
var excesses = []float64{1.5, 2, 3, 5, 8, 12, 20, 40, 80, 200}

// scaleShare was found by simulation: with it the search keeps its size in groups
// of five and of ten drawn from the scatter of real seatings (docs/developing/standouts.md).
const scaleShare = 0.9

// learn returns the groups in coordinates in which the shape that the other
// groups show is the unit matrix, and the law that makes all of them together
// most probable.
func learn(groups [][][]float64, noise []float64) (white [][][]float64, l law) {
	white = make([][][]float64, len(groups))
	for g := range groups {
		white[g] = whiten(groups[g], shapeOf(groups, g))
	}
	l.columns = len(groups[0][0])
	best := math.Inf(-1)
	for _, excess := range excesses {
		candidate := law{l.columns, excess}
		var sum float64
		for g, x := range white {
			if len(x) >= fewest {
				sum += candidate.logDensity(x, noise[g])
			}
		}
		if sum > best {
			best, l = sum, candidate
		}
	}
	return white, l
}

// whiten returns L⁻¹x of every row x, LL' being the shape.
func whiten(rows [][]float64, shape *mat.SymDense) [][]float64 {
	var chol mat.Cholesky
	var l mat.TriDense
	chol.Factorize(shape) // positive definite by the share of the unit matrix
	chol.LTo(&l)
	out := make([][]float64, len(rows))
	for i, row := range rows {
		var z mat.VecDense
		if err := z.SolveVec(&l, mat.NewVecDense(len(row), row)); err != nil {
			panic(err) // not possible with that share
		}
		out[i] = z.RawVector().Data
	}
	return out
}

// shapeOf is the shape of the scatter of all groups but one: the covariance of
// the residuals' directions (spatial sign covariance: Visuri, Koivunen & Oja, J.
// Stat. Plan. Inference 91(2), 2000), which a member far out bends no more than any
// other, shrunk toward the unit matrix with the weight of Ledoit and Wolf.
func shapeOf(groups [][][]float64, but int) *mat.SymDense {
	const leastShrink = 0.05 // directions in which the others do not scatter must not decide
	p := len(groups[but][0])
	var signs []float64
	for g, x := range groups {
		if g == but || len(x) < fewest {
			continue
		}
		_, residuals := centred(x, nil, -1)
		for _, r := range residuals {
			if norm := floats.Norm(r, 2); norm > 0 {
				floats.Scale(math.Sqrt(float64(p))/norm, r)
				signs = append(signs, r...)
			}
		}
	}
	unit := mat.NewSymDense(p, nil)
	for k := range p {
		unit.SetSym(k, k, 1)
	}
	n := len(signs) / p
	if n == 0 {
		return unit
	}
	x := mat.NewDense(n, p, signs)
	weight := math.Max(leastShrink, stats.ShrinkWeight(x, unit, 1))
	shape := mat.NewSymDense(p, nil)
	shape.ScaleSym(weight, unit)
	for _, r := range rowsOf(x) {
		shape.SymRankOne(shape, (1-weight)/float64(n), r)
	}
	return shape
}

func rowsOf(x *mat.Dense) []mat.Vector {
	n, _ := x.Dims()
	out := make([]mat.Vector, n)
	for i := range out {
		out[i] = x.RowView(i)
	}
	return out
}

// centred returns the mean of the rows that are in (all for nil) without row
// but, and their differences from it.
func centred(x [][]float64, in []bool, but int) (mean []float64, residuals [][]float64) {
	mean = make([]float64, len(x[0]))
	for i, row := range x {
		if i != but && (in == nil || in[i]) {
			floats.Add(mean, row)
			residuals = append(residuals, append([]float64(nil), row...))
		}
	}
	floats.Scale(1/float64(len(residuals)), mean)
	for _, r := range residuals {
		floats.Sub(r, mean)
	}
	return mean, residuals
}

// scatter is (ν − p − 1)I + Σ rr'/s² of residuals, with their scale s: the mean
// square of a column, at least the noise. It is nil where nothing scatters.
func (l law) scatter(residuals [][]float64, noise float64) (a *mat.SymDense, scale float64) {
	var square float64
	for _, r := range residuals {
		square += floats.Dot(r, r)
	}
	square = math.Max(square/float64((len(residuals)-1)*l.columns), noise)
	if square == 0 {
		return nil, 0
	}
	a = mat.NewSymDense(l.columns, nil)
	for k := range l.columns {
		a.SetSym(k, k, l.excess)
	}
	for _, r := range residuals {
		a.SymRankOne(a, 1/square, mat.NewVecDense(len(r), r))
	}
	return a, math.Sqrt(square)
}

// logDensity is the log marginal likelihood of a group's scatter, up to what does
// not depend on the law.
func (l law) logDensity(x [][]float64, noise float64) float64 {
	_, residuals := centred(x, nil, -1)
	a, _ := l.scatter(residuals, noise)
	if a == nil {
		return 0
	}
	p, m := float64(l.columns), float64(len(x)-1)
	nu := p + 1 + l.excess
	after, _ := mat.LogDet(a)
	return mathext.MvLgamma((nu+m)/2, l.columns) - mathext.MvLgamma(nu/2, l.columns) +
		nu/2*p*math.Log(l.excess) - (nu+m)/2*after
}

// predict holds member i against the other members that are in: F and its tail
// probability.
func (l law) predict(x [][]float64, in []bool, i int, noise float64) (f, tail float64) {
	p := float64(l.columns)
	mean, residuals := centred(x, in, i)
	m := float64(len(residuals))
	delta := append([]float64(nil), x[i]...)
	floats.Sub(delta, mean)
	a, scale := l.scatter(residuals, noise)
	if a == nil {
		if floats.Norm(delta, math.Inf(1)) == 0 {
			return 0, 1
		}
		return math.Inf(1), 0
	}
	var chol mat.Cholesky
	var w mat.VecDense
	v := mat.NewVecDense(l.columns, delta)
	if !chol.Factorize(a) || chol.SolveVecTo(&w, v) != nil {
		return 0, 1
	}
	df := l.excess + m + 1 // ν + (m − 1) − p + 1
	f = mat.Dot(v, &w) / (scale * scale) * df / (1 + 1/m) / p
	// The scale is estimated too: relative variances of the two denominators add,
	// and that of an F's is about 2 over its degrees of freedom. A mean square has
	// as many of them per member as columns are independent, (tr Σ)²/tr(Σ²) (Box,
	// Ann. Math. Stat. 25(2), 1954). The members' scatter is in both denominators,
	// which scaleShare makes good for.
	independent := math.Pow(mat.Trace(a)/mat.Norm(a, 2), 2)
	df = 1 / (1/df + scaleShare/(independent*(m-1)))
	return f, distuv.F{D1: p, D2: df}.Survival(f)
}
