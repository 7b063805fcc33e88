// Package linear makes one ear's response surface straight over where people may
// wear a headphone: the plane nearest to it in the mean square, and what is left of it
// as a covariance (statistical linearisation: Särkkä, Bayesian Filtering and
// Smoothing, 2013, ch. 5). How the fixture's surface bends would otherwise pass for
// knowledge of where people wear the headphone, though their own surfaces bend
// differently; and where it bends more than it slopes, as over cups that answer alike to
// opposite displacements, its slope at a point says nothing a few millimetres on. It must
// not know listeners' seatings, nor how positions are told.
package linear

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/displaced"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Surface is one ear's surface made straight. Slices over bands have one value per
// position band (n); matrices are n × n.
type Surface struct {
	Centre [3]float64    // mm, mm, degrees: near the panel's mean position
	Level  []float64     // dB, mean over where people may wear it
	Slope  [3][]float64  // dB per mm, mm and degree
	Excess []float64     // variance of the survey's surface at Centre, in units of its scatter's
	Rest   *mat.SymDense // dB²: mean square of what is left
	Own    *mat.SymDense // dB² per mm²: of a listener's slopes about this one's, forward and up alike
	Draws  float64       // how many ears the slope is the mean of
}

// Over makes the surface of ear e (0 left, 1 right) straight about a centre over a square of the
// standard deviations sd, mm forward and up. A listener's slopes differ from the
// fixture's by as much as the fixture's own differ from place to place, unless displaced
// listeners show otherwise. scatter is the fixture's, n × n, dB²; people are the
// listeners displaced on purpose, none when there are none.
func Over(bands survey.Bands, ear *survey.Ear, scatter *mat.SymDense, people []displaced.Listener, e int, centre [3]float64, sd [placing.ReadDim]float64) Surface {
	n := bands.N
	out := Surface{Centre: centre, Level: make([]float64, n)}
	_, _, out.Excess = ear.Surface(bands, centre)
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
	out.Slope = pooled.Mean(fixture)
	for k, q := range at {
		for r, v := range pooled.Level(levels[k], q) {
			out.Level[r] += v / count
		}
	}
	out.Rest = mat.NewSymDense(n, nil)
	for k, q := range at {
		rest := mat.NewVecDense(n, nil)
		for r, v := range levels[k] {
			rest.SetVec(r, v-out.Level[r]-out.Slope[0][r]*(q[0]-centre[0])-out.Slope[1][r]*(q[1]-centre[1]))
		}
		out.Rest.SymRankOne(out.Rest, 1.0/count, rest)
	}
	out.Own, out.Draws = mat.NewSymDense(n, nil), pooled.Draws()
	for r := range n {
		for q := r; q < n; q++ {
			v := math.Sqrt(pooled.Own[r] * pooled.Own[q])
			out.Own.SetSym(r, q, v*math.Exp(-bands.Octaves(r, q)/effects.EarCorrOctaves))
		}
	}
	return out
}
