package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/displaced"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// straight is one ear's surface of a model made straight over where people may wear
// it: the plane nearest to it in the mean square, and what is left of it as a covariance
// (statistical linearisation: Särkkä, Bayesian Filtering and Smoothing, 2013, ch. 5).
// How the fixture's surface bends would otherwise pass for knowledge of where people
// wear the headphone, though their own surfaces bend differently; and where it bends
// more than it slopes, as over cups that answer alike to opposite displacements, its
// slope at a point says nothing a few millimetres on.
type straight struct {
	centre [3]float64    // mm, mm, degrees: near the panel's mean position
	level  []float64     // dB per band, mean over where people may wear it
	slope  [3][]float64  // dB per mm, mm and degree
	excess []float64     // variance of the survey's surface at centre, in units of its scatter's
	rest   *mat.SymDense // dB²: mean square of what is left
	own    *mat.SymDense // dB² per mm²: of a listener's slopes about this one's, forward and up alike
	draws  float64       // how many ears the slope is the mean of
}

// straighten makes the surface of one ear straight about a centre over a square of the
// standard deviations sd, mm forward and up. A listener's slopes differ from the
// fixture's by as much as the fixture's own differ from place to place, unless displaced
// listeners show otherwise.
func straighten(bands survey.Bands, ear *survey.Ear, scatter *mat.SymDense, people []displaced.Listener, e int, centre [3]float64, sd [placing.ReadDim]float64) straight {
	n := bands.N
	out := straight{centre: centre, level: make([]float64, n)}
	_, _, out.excess = ear.Surface(bands, centre)
	var fixture [3][]float64
	for a := range fixture {
		fixture[a] = make([]float64, n)
	}
	local := make([]float64, n) // mean square of the slopes forward and up
	var at [][3]float64
	var levels [][]float64
	const step = 1.2247448713915890 // √1.5: three points a side, equally spaced, have the variance sd²
	const count = 9
	for i := -1; i <= 1; i++ {
		for j := -1; j <= 1; j++ {
			q := centre
			q[0] += step * sd[0] * float64(i)
			q[1] += step * sd[1] * float64(j)
			level, slope, _ := ear.Surface(bands, q)
			at, levels = append(at, q), append(levels, level)
			for r := range n {
				local[r] += (slope[0][r]*slope[0][r] + slope[1][r]*slope[1][r]) / (2 * count)
				for a := range placing.ReadDim { // least squares: the axes of the grid are orthogonal
					x := q[a] - centre[a]
					fixture[a][r] += x * level[r] / (count * sd[a] * sd[a])
				}
				fixture[2][r] += slope[2][r] / count
			}
		}
	}
	pooled := displaced.Pool(people, e, fixture, local, stats.Diagonal(scatter))
	out.slope = pooled.Mean(fixture)
	for k, q := range at {
		for r, v := range pooled.Level(levels[k], q) {
			out.level[r] += v / count
		}
	}
	out.rest = mat.NewSymDense(n, nil)
	for k, q := range at {
		rest := mat.NewVecDense(n, nil)
		for r, v := range levels[k] {
			rest.SetVec(r, v-out.level[r]-out.slope[0][r]*(q[0]-centre[0])-out.slope[1][r]*(q[1]-centre[1]))
		}
		out.rest.SymRankOne(out.rest, 1.0/count, rest)
	}
	out.own, out.draws = mat.NewSymDense(n, nil), pooled.Draws()
	for r := range n {
		for q := r; q < n; q++ {
			v := math.Sqrt(pooled.Own[r] * pooled.Own[q])
			out.own.SetSym(r, q, v*math.Exp(-bands.Octaves(r, q)/effects.EarCorrOctaves))
		}
	}
	return out
}

// straightenAll makes the surfaces of all models straight about where the last fit has
// its panel, over how far that may lie off and people and seatings differ. The spreads
// of people and seatings are those assumed, not those learned: what the surface seems to
// say of them must not widen what it is asked.
func (p *panel) straightenAll() {
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
				pm.straight[e] = straighten(p.Bands, ear, pm.scatter[e], pm.displaced, e, [3]float64(pm.mean[3*e:3*e+3]), sd)
			}
		}
	}
}

// bend is what a seating departs from the straight surface by, as a covariance between
// two bands: the part of the rest that is not the whole panel's, and the listener's own slopes.
func (pm *panelModel) bend(e, r, q int) float64 {
	s := &pm.straight[e]
	var moved float64 // mm², of a seating about its listener's mean
	for a := range placing.ReadDim {
		moved += priorWithin[a]*priorWithin[a] + priorWithinOwn[a]*priorWithinOwn[a]
	}
	return (1-pm.shared)*s.rest.At(r, q) + moved*s.own.At(r, q)
}

// common is the same of what all seatings of the panel depart by alike: what is left of
// the surface as far as the mean is uncertain, and people's mean slope, which lies off the
// fixture's, over the way from the mark.
func (pm *panelModel) common(e, r, q int) float64 {
	s := &pm.straight[e]
	var way float64
	for a, v := range pm.meanVariance {
		way += v + s.centre[a]*s.centre[a]
	}
	return pm.shared*s.rest.At(r, q) + way/s.draws*s.own.At(r, q)
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
		fit.eachSeating(m, func(_ int, _ *wornSeating, _ *blockPosterior, sp *seatPosterior) {
			for i, v := range sp.pos {
				mean[i] += v
			}
			count++
		})
		rows := fit.peopleRows(m)
		var half, cov mat.Dense
		half.Mul(rows, fit.etaCov)
		cov.Mul(&half, rows.T())
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
