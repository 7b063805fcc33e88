package leak

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// block is what one curve with a leak says of its own unknowns and how they go with the global ones.
type block struct {
	curve int
	own   int // how many unknowns are its own: gain and leak
	at    int // the first global unknown, behind the sealed curve, that it speaks of
	// x holds the residual, dB, n, which objective sets; then how its level changes by ln f₀ and
	// ln damping and by the source. wx is x·W.
	x, wx *mat.Dense
	level []float64    // 20 lg|H|, dB, n, which objective sets
	cross *mat.Dense   // own × global
	rhs   []float64    // own
	inv   mat.SymDense // inverse of own × own, priors included
}

// newBlock prepares curve i.
func newBlock(j *joint, i int) *block {
	globals, _, source := j.globals()
	const own = 3
	rows, n := own+j.source.unknowns(), len(j.freq)
	return &block{curve: i, own: own, at: source, level: make([]float64, n),
		x: mat.NewDense(rows, n, nil), wx: mat.NewDense(rows, n, nil),
		cross: mat.NewDense(own, globals, nil), rhs: make([]float64, own)}
}

// linearise fills in the block at the current values. errSingular where the curve does not
// determine its own unknowns.
func (bl *block) linearise(j *joint) error {
	rows, n := bl.x.Dims()
	fillChange(bl.x.Slice(1, rows, 0, n).(*mat.Dense), j, j.leak[bl.curve])
	r := bl.x.RawRowView(0)
	stats.Multiply(bl.wx, bl.x, j.weight[bl.curve])
	wr, ones := bl.wx.RawRowView(0), j.weightSum[bl.curve]
	gain := j.gain[bl.curve]
	square := mat.NewSymDense(bl.own, nil)
	square.SetSym(0, 0, floats.Sum(ones)+1/(gainSD*gainSD))
	bl.rhs[0] = floats.Dot(ones, r) - gain/(gainSD*gainSD)
	copy(bl.cross.RawRowView(0), ones)
	for u := 1; u < bl.own; u++ {
		change := bl.x.RawRowView(u)
		square.SetSym(0, u, floats.Dot(ones, change))
		for v := u; v < bl.own; v++ {
			square.SetSym(u, v, floats.Dot(change, bl.wx.RawRowView(v)))
		}
		bl.rhs[u] = floats.Dot(change, wr)
		copy(bl.cross.RawRowView(u), bl.wx.RawRowView(u))
	}
	res, slopes := priorTerms(j.leak[bl.curve])
	addPrior(square, mat.NewVecDense(bl.own, bl.rhs), 1, res, slopes)
	for u := bl.own; u < rows; u++ {
		for o := range bl.own {
			bl.cross.Set(o, bl.at+u-bl.own, floats.Dot(bl.x.RawRowView(u), bl.cross.RawRowView(o)[:n]))
		}
	}
	return invert(&bl.inv, square)
}

// add adds the curve to the normal equations, but for its weight, which belongs to the sealed
// curve's part of a, and takes off what the own unknowns take up (Schur complement).
func (bl *block) add(a *mat.SymDense, b *mat.VecDense) {
	right := b.RawVector().Data
	rows, n := bl.x.Dims()
	wr := bl.wx.RawRowView(0)
	floats.Add(right[:n], wr)
	change := bl.x.Slice(bl.own, rows, 0, n).(*mat.Dense)
	addBeyond(a, bl.at, change, bl.wx.Slice(bl.own, rows, 0, n).(*mat.Dense))
	for u := range rows - bl.own {
		right[bl.at+u] += floats.Dot(change.RawRowView(u), wr)
	}
	raw := a.RawSymmetric()
	for o := range bl.own {
		taken := make([]float64, raw.N) // inv·cross
		for p := range bl.own {
			floats.AddScaled(taken, bl.inv.At(o, p), bl.cross.RawRowView(p))
		}
		cross := bl.cross.RawRowView(o)
		for k, v := range taken {
			floats.AddScaled(raw.Data[k*raw.Stride+k:k*raw.Stride+raw.N], -v, cross[k:])
		}
		floats.AddScaled(right, -bl.rhs[o], taken)
	}
}

// step is the step of the own unknowns that goes with one of the global ones.
func (bl *block) step(global *mat.VecDense) []float64 {
	rest, out := make([]float64, bl.own), make([]float64, bl.own)
	for o := range rest {
		rest[o] = bl.rhs[o] - floats.Dot(bl.cross.RawRowView(o), global.RawVector().Data)
	}
	for o := range out {
		for p, v := range rest {
			out[o] += bl.inv.At(o, p) * v
		}
	}
	return out
}

// covariance is that of the curve's leak and the source as the joint fit has it; cov is
// the covariance of the global unknowns, of which the source's begin at source. With C that
// and B = cross'·own⁻¹, it is own⁻¹ + B'CB for the own unknowns and −CB between both.
func (bl *block) covariance(cov *mat.SymDense, source, unknowns int) (out Covariance) {
	var b, cb, own mat.Dense
	b.Mul(bl.cross.T(), &bl.inv)
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
