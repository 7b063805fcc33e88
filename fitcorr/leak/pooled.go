package leak

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// pooled is what the curves without a leak of their own say as one. They differ by their
// gains alone: with y_i a curve's level less that of the sealed curve at the start, and x
// what sealed curve and reference have moved by since, the residuals are y_i − x − gain_i.
// Sums over the curves are worked out once for all steps.
type pooled struct {
	curves []int
	about  []float64  // the sealed curve at the start, dB, n
	weight *mat.Dense // ΣW, n × n
	kept   *mat.Dense // Σ(W − ww'/s), w = W·1: what is left once the gains are eliminated
	gains  []float64  // per curve: s = 1'w and the prior of the gain
	wy     []float64  // ΣWy, n
	yWy    float64    // Σy'Wy
	ownY   []float64  // per curve: w'y

	// At the current values.
	change *mat.Dense    // by what the reference leaks and the source, 2 + source × n; nil where it leaks nothing (newNormal)
	level  []float64     // 20 lg|H| of the reference, dB, n (newNormal)
	x      *mat.VecDense // n, dB
	wx     *mat.VecDense // ΣW·x
	own    []float64     // per curve: w'(y − x)
}

// newPooled prepares the curves without a leak for the weights and classes of j.
func newPooled(j *joint) *pooled {
	n := len(j.freq)
	p := &pooled{about: j.sealed, weight: mat.NewDense(n, n, nil), kept: mat.NewDense(n, n, nil),
		wy: make([]float64, n), x: mat.NewVecDense(n, nil), wx: mat.NewVecDense(n, nil)}
	y, wy := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i, c := range j.curves {
		if j.leaks(i) {
			continue
		}
		w, ones := j.weight[i], j.weightSum[i]
		for k := range n {
			y.SetVec(k, 0)
			if w.At(k, k) > 0 {
				y.SetVec(k, c.LevelDB[k]-p.about[k])
			}
		}
		wy.MulVec(w, y)
		floats.Add(p.wy, wy.RawVector().Data)
		p.yWy += mat.Dot(y, wy)
		s := floats.Sum(ones) + 1/(gainSD*gainSD)
		p.curves, p.gains = append(p.curves, i), append(p.gains, s)
		p.ownY = append(p.ownY, floats.Dot(ones, y.RawVector().Data))
		p.weight.Add(p.weight, w)
		for k := range n {
			floats.AddScaled(p.kept.RawRowView(k), -ones[k]/s, ones)
		}
	}
	p.kept.Add(p.kept, p.weight)
	p.own = make([]float64, len(p.curves))
	return p
}

// move sets what the curves have moved by to the current values of j.
func (p *pooled) move(j *joint) {
	x := p.x.RawVector().Data
	for k := range x {
		x[k] = j.sealed[k] - p.about[k]
	}
	if p.change != nil {
		floats.Add(x, j.source.levels(p.level, j.reference, j.freq))
	}
	p.wx.MulVec(p.weight, p.x)
	for c, i := range p.curves {
		p.own[c] = p.ownY[c] - floats.Dot(j.weightSum[i], x)
	}
}

// objective is the sum of squares at the values of move, with the priors of the gains.
func (p *pooled) objective(j *joint) float64 {
	sum := p.yWy + mat.Dot(p.x, p.wx) - 2*floats.Dot(p.wy, p.x.RawVector().Data)
	for c, i := range p.curves {
		sum += j.gain[i] * (j.gain[i]*p.gains[c] - 2*p.own[c])
	}
	return sum
}

// rhs is the right side of the gain of the curve of number c.
func (p *pooled) rhs(j *joint, c int) float64 { return p.own[c] - j.gain[p.curves[c]]*p.gains[c] }

// add adds the curves to the normal equations, at the values of move.
func (p *pooled) add(j *joint, a *mat.SymDense, b *mat.VecDense) {
	n, right := len(j.freq), b.RawVector().Data
	pull := append([]float64(nil), p.wy...) // ΣWr with the gains eliminated
	floats.Sub(pull, p.wx.RawVector().Data)
	for c, i := range p.curves {
		floats.AddScaled(pull, -j.gain[i]-p.rhs(j, c)/p.gains[c], j.weightSum[i])
	}
	floats.Add(right[:n], pull)
	addWeight(a, p.kept)
	if p.change == nil {
		return
	}
	fillChange(p.change, j, j.reference)
	_, reference, _ := j.globals()
	addBeyond(a, reference, p.change, stats.Product(p.change, p.kept))
	rows, _ := p.change.Dims()
	for u := range rows {
		right[reference+u] += floats.Dot(p.change.RawRowView(u), pull)
	}
}

// steps sets the curves' steps of gain that go with a step of the global unknowns.
func (p *pooled) steps(j *joint, global *mat.VecDense, own [][]float64) {
	n := len(j.freq)
	move := append([]float64(nil), global.RawVector().Data[:n]...)
	if p.change != nil {
		_, reference, _ := j.globals()
		rows, _ := p.change.Dims()
		for u := range rows {
			floats.AddScaled(move, global.AtVec(reference+u), p.change.RawRowView(u))
		}
	}
	for c, i := range p.curves {
		own[i] = []float64{(p.rhs(j, c) - floats.Dot(j.weightSum[i], move)) / p.gains[c]}
	}
}

// fillChange sets the rows of change to how the level changes, in dB, by ln f₀ and ln damping
// of leak p and by the unknowns of the source; n columns.
func fillChange(change *mat.Dense, j *joint, p Params) {
	for k, f := range j.freq {
		lv := j.source.slopes(p, f)
		for u, v := range lv.own {
			change.Set(u, k, v)
		}
		for u, v := range lv.bySource[:j.source.unknowns()] {
			change.Set(len(lv.own)+u, k, v)
		}
	}
}

// addBeyond adds to a what changes by global unknowns behind the sealed curve, from at on,
// say of them and of the sealed curve: weighted is change·W, both unknowns × n.
func addBeyond(a *mat.SymDense, at int, change, weighted *mat.Dense) {
	raw := a.RawSymmetric()
	rows, _ := change.Dims()
	for u := range rows {
		for k, v := range weighted.RawRowView(u) {
			raw.Data[k*raw.Stride+at+u] += v
		}
		row := raw.Data[(at+u)*raw.Stride+at:]
		for v := u; v < rows; v++ {
			row[v] += floats.Dot(change.RawRowView(u), weighted.RawRowView(v))
		}
	}
}
