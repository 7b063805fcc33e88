package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/linear"
	"asworn/fitcorr/placing"
)

// straighten makes the surfaces of all models straight about where the last fit has
// its panel, over how far that may lie off and people and seatings differ. The spreads
// of people and seatings are those assumed, not those learned: what the surface seems to
// say of them must not widen what it is asked.
func (p *panel) straighten() {
	for _, pm := range p.models {
		var sd [placing.ReadDim]float64
		var all, mean float64
		for a := range sd {
			v := pm.meanVariance[a] + priorBetween[a]*priorBetween[a] + priorWithin[a]*priorWithin[a]
			sd[a] = math.Sqrt(v)
			all += v
			mean += pm.meanVariance[a]
		}
		pm.shared = mean / all
		for e := range 2 {
			if ear := pm.ears[e].Survey; ear != nil {
				pm.surface[e] = linear.Over(p.Bands, ear, pm.scatter[e], pm.displaced, e, [3]float64(pm.mean[3*e:3*e+3]), sd)
			}
		}
	}
}

// moveStraight sets where the surfaces are to be made straight next: from the mark toward
// the mean of the estimated positions, kept within the survey's reach, by the share of the
// prior variance of the mean that the estimate has taken away. Where a surface is even
// about the mark the levels tell neither side, and made straight about a mean that is hardly
// known it would come to tell one.
func (fit *panelFit) moveStraight() {
	prior := placing.WornPrior()
	for m, pm := range fit.models {
		var mean [placing.HeadsetDim]float64
		var count float64
		fit.each(m, func(_ int, _ *wornSeating, sp *seatPosterior) {
			for i, v := range sp.pos {
				mean[i] += v
			}
			count++
		})
		var cov mat.Dense
		rows := fit.peopleRows(m)
		cov.Mul(rows, rows.T())
		for a := range 3 {
			known := math.Max(0, 1-cov.At(a, a)/((prior.At(a, a)+prior.At(a, 3+a))/2))
			var off float64
			for e := range 2 {
				sv := pm.ears[e].Survey
				if sv == nil {
					continue
				}
				lim := 1.3*sv.Reach()[a] + 0.5
				at := math.Max(-lim, math.Min(lim, mean[3*e+a]/count))
				pm.mean[3*e+a] = known * at
				off = math.Max(off, math.Abs(at-pm.mean[3*e+a]))
			}
			if a < placing.ReadDim {
				pm.meanVariance[a] = cov.At(a, a) + off*off
			}
		}
	}
}
