package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// shrinkWeight is Ledoit and Wolf's weight of a structured target against the
// covariance XX'/N of N draws about zero (J. Multivariate Anal. 88, 2004: what
// the sample's covariance errs by, over what it differs from the target by;
// there for a multiple of the unit matrix). x holds one draw per row. each is
// how many rows count as one independent draw: what a listener's ears do under
// several models is alike. A target that differs from the sample by less than
// the sample errs has the weight 1.
func shrinkWeight(x *mat.Dense, target mat.Symmetric, each float64) float64 {
	n, p := x.Dims()
	if n == 0 {
		return 1
	}
	var s mat.Dense
	s.Mul(x.T(), x)
	s.Scale(1/float64(n), &s)
	var off, square float64
	for i := range p {
		for j := range p {
			d := s.At(i, j) - target.At(i, j)
			off += d * d
			square += s.At(i, j) * s.At(i, j)
		}
	}
	// Σ|xx' − S|² = Σ|x|⁴ − N|S|².
	var fourth float64
	for i := range n {
		var v float64
		for _, a := range x.RawRowView(i) {
			v += a * a
		}
		fourth += v * v
	}
	wrong := each * (fourth/float64(n) - square) / float64(n)
	if wrong >= off {
		return 1
	}
	return math.Max(0, wrong/off)
}

// earDraws returns one row per listener: (left ± right)/√2 of how the
// listener's ears differ, channel by channel, referred to the level below
// earLevelHz.
func (p *panel) earDraws(fit *panelFit, sign float64) *mat.Dense {
	n := p.bands.n
	out := mat.NewDense(len(fit.per), p.width*n, nil)
	for i := range fit.per {
		row := out.RawRowView(i)
		for k := range p.width {
			l, r := p.channel(0, k), p.channel(1, k)
			ear := row[k*n : (k+1)*n]
			for b := range ear {
				ear[b] = math.Sqrt(0.5) * (fit.per[i].x.AtVec(l+b) + sign*fit.per[i].x.AtVec(r+b))
			}
			copy(ear, p.bands.withoutLevel(ear, nil))
		}
	}
	return out
}

// channelDraws stacks the draws of channels from to to−1: one row per listener
// and channel.
func (p *panel) channelDraws(rows *mat.Dense, from, to int) *mat.Dense {
	n := p.bands.n
	count, _ := rows.Dims()
	out := mat.NewDense(count*(to-from), n, nil)
	for i := range count {
		for k := from; k < to; k++ {
			out.SetRow(i*(to-from)+k-from, rows.RawRowView(i)[k*n:(k+1)*n])
		}
	}
	return out
}

// shapeWeight is the weight of the smooth correlation over frequency against
// the listeners' own.
func (p *panel) shapeWeight(rows *mat.Dense, sd []float64) float64 {
	count, n := rows.Dims()
	x := mat.DenseCopyOf(rows)
	for i := range count {
		for r, s := range sd {
			x.Set(i, r, x.At(i, r)/s)
		}
	}
	smooth := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			smooth.SetSym(r, q, math.Exp(-p.bands.octaves(r, q)/earWidth))
		}
	}
	models := float64(count) / float64(len(p.listeners)) // rows per listener
	return shrinkWeight(x, smooth, 1+(models-1)*startJoin*startJoin)
}
