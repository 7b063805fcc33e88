package placing

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// The grid on which the misfit of a seating is laid out before anything climbs:
// gridSteps × gridSteps displacements over gridReach times the survey's reach.
const (
	gridSteps = 9
	gridReach = 1.25
	// gridFewestMM is the least half-width, for surveys that never moved along an axis.
	gridFewestMM = 4.0
)

// grid is the surface of one ear on the forward–up grid.
type grid struct {
	level *mat.Dense // position bands × at, dB
	turn  *mat.Dense // position bands × at, dB per degree of rotation
}

// gridHalf is the half-width of the grid forward and up, mm: the larger of both ears.
func gridHalf(models *[2]Ear) (half [2]float64) {
	for e := range models {
		if models[e].Survey == nil {
			continue
		}
		reach := models[e].Survey.Reach()
		for a := range half {
			half[a] = math.Max(half[a], math.Max(gridFewestMM, gridReach*reach[a]))
		}
	}
	return half
}

// newGrid lays the grid out over ±half.
func newGrid(half [2]float64) *survey.Grid {
	g := new(survey.Grid)
	for i := range gridSteps {
		for k := range gridSteps {
			step := func(j int) float64 { return 2*float64(j)/(gridSteps-1) - 1 }
			g.At = append(g.At, [3]float64{half[0] * step(i), half[1] * step(k), 0})
		}
	}
	return g
}

// misfit returns the χ² of ear e per point of the grid with the rotation
// profiled out under its prior (a slope per degree, one line of algebra):
// r'V⁻¹r − (t'V⁻¹r)²/(1/σ² + t'V⁻¹t). Nil when the covariance is singular.
func (pl *Placer) misfit(o Observation, e int, turnVariance float64) []float64 {
	m, g := &pl.Models[e], &pl.grid[e]
	n, points := m.Bands.N, len(pl.at.At)
	cov, ok := stats.Factorize(m.Covariance(1, make([]float64, n), o.Variance[e]))
	if !ok {
		return nil
	}
	white, _ := pl.work.Get().(*mat.Dense)
	if white == nil {
		white = mat.NewDense(n, 2*points, nil)
	}
	defer pl.work.Put(white)
	for b := range n {
		row := white.RawRowView(b)
		for k, level := range g.level.RawRowView(b) {
			row[k] = o.Level[e][b] - level
		}
		copy(row[points:], g.turn.RawRowView(b))
	}
	cov.Whiten(white)
	rr, tr, tt := make([]float64, points), make([]float64, points), make([]float64, points)
	for b := range n {
		r, t := white.RawRowView(b)[:points], white.RawRowView(b)[points:]
		for k := range points {
			rr[k] += r[k] * r[k]
			tr[k] += t[k] * r[k]
			tt[k] += t[k] * t[k]
		}
	}
	for k := range rr {
		rr[k] -= tr[k] * tr[k] / (1/turnVariance + tt[k])
	}
	return rr
}

// Starts of the climbs: the deepest minima of each ear, paired, and of both together.
const (
	startsPerEar = 2
	startsJoint  = 3
)

// starts returns headset positions from which to climb. An ear that was not
// recorded follows the other.
func (pl *Placer) starts(o Observation, prior Prior) [][HeadsetDim]float64 {
	points := gridSteps * gridSteps
	joint := make([]float64, points)
	var each [2][]int // minima of each ear
	for e := range pl.Models {
		if !o.Present[e] {
			continue
		}
		cost := pl.misfit(o, e, prior.Cov.At(3*e+2, 3*e+2))
		if cost == nil {
			continue
		}
		own := slices.Clone(cost)
		for k, d := range pl.at.At {
			for a := range 2 {
				t := d[a] - prior.Mean[3*e+a]
				v := t * t / prior.Cov.At(3*e+a, 3*e+a)
				own[k] += v
				joint[k] += cost[k] + v/2
			}
		}
		each[e] = deepest(own, startsPerEar)
	}
	for e := range each {
		if each[e] == nil {
			each[e] = each[1-e]
		}
	}
	var out [][HeadsetDim]float64
	add := func(left, right int) {
		at := prior.Mean
		copy(at[:2], pl.at.At[left][:2])
		copy(at[3:5], pl.at.At[right][:2])
		if !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	for _, l := range each[0] {
		for _, r := range each[1] {
			add(l, r)
		}
	}
	if each[0] != nil {
		for _, k := range deepest(joint, startsJoint) {
			add(k, k)
		}
	}
	return out
}

// deepest returns the points of the grid that lie below all their neighbours,
// the lowest first, at most n.
func deepest(cost []float64, n int) []int {
	var out []int
	for k, v := range cost {
		low := true
		for i := max(0, k/gridSteps-1); i <= min(gridSteps-1, k/gridSteps+1); i++ {
			for j := max(0, k%gridSteps-1); j <= min(gridSteps-1, k%gridSteps+1); j++ {
				other := i*gridSteps + j
				low = low && (v < cost[other] || other >= k && v == cost[other])
			}
		}
		if low {
			out = append(out, k)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int {
		if cost[a] < cost[b] {
			return -1
		}
		if cost[a] > cost[b] {
			return 1
		}
		return 0
	})
	return out[:min(n, len(out))]
}
