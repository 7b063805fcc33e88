package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// earDraws returns one row per listener: (left ± right)/√2 of how the
// listener's ears differ, channel by channel, referred to the level below
// earLevelHz.
func (p *panel) earDraws(fit *panelFit, sign float64) *mat.Dense {
	n := p.bands.N
	out := mat.NewDense(len(fit.per), p.width*n, nil)
	for i := range fit.per {
		row := out.RawRowView(i)
		for k := range p.width {
			l, r := p.channel(0, k), p.channel(1, k)
			ear := row[k*n : (k+1)*n]
			for b := range ear {
				ear[b] = math.Sqrt(0.5) * (fit.per[i].x.AtVec(l+b) + sign*fit.per[i].x.AtVec(r+b))
			}
			copy(ear, p.bands.WithoutLevel(ear, nil))
		}
	}
	return out
}

// channelDraws stacks the draws of channels from to to−1: one row per listener
// and channel.
func (p *panel) channelDraws(rows *mat.Dense, from, to int) *mat.Dense {
	n := p.bands.N
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
			smooth.SetSym(r, q, math.Exp(-p.bands.Octaves(r, q)/earWidth))
		}
	}
	models := float64(count) / float64(len(p.listeners)) // rows per listener
	return stats.ShrinkWeight(x, smooth, 1+(models-1)*startJoin*startJoin)
}
