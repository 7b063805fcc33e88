package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// The grid of mark errors: markSteps × markSteps over ±markReach standard
// deviations of what is known before.
const (
	markSteps = 17
	markReach = 3.5
	// markTurnDeg is how far the headband may be turned between the marks, degrees
	// (common practice, no source).
	markTurnDeg = 1.0
)

// markTrials are the rows of the drum's survey held against the blocked survey.
// Matrices are rows × (position bands of the left ear, then of the right), whitened
// by the covariance of a survey row; a row without that ear, or one that slipped,
// holds zeros.
type markTrials struct {
	residuals []*mat.Dense   // per mark error of the grid
	turn      *mat.Dense     // change per degree of rotation, at the marked error
	groups    [][]int        // rows of one displacement
	sums      [][]markMoment // per mark error and column
}

// markMoment is what the rows of one column add up to: how many, their residuals and turns, the
// squares and products of these.
type markMoment struct{ n, r1, r2, t1, t2, rt float64 }

// add adds a row's residual and turn; times is −1 for one to take off. A residual of 0 is none.
func (s *markMoment) add(residual, turn, times float64) {
	if residual == 0 {
		return
	}
	s.n += times
	s.r1, s.r2 = s.r1+times*residual, s.r2+times*residual*residual
	s.t1, s.t2, s.rt = s.t1+times*turn, s.t2+times*turn*turn, s.rt+times*residual*turn
}

// BySound multiplies into the mark's error what the two surveys say of it. A
// headphone moved by d from the drum survey's mark is moved by d + error from the
// blocked one's, and the level changes alike at both points (Møller, Hammershøi,
// Jensen & Sørensen, JAES 43(4), 1995), but for a constant per band. That is an
// assumption, and the surveys say how far it holds: their misfit (Birge's ratio) and
// the scatter of the error over surveys without one displacement (jackknife: Efron
// & Tibshirani, An Introduction to the Bootstrap, 1993, ch. 11) widen what is
// told. Surveys without an ear in common change nothing.
func (e MarkError) BySound(blocked, drum *Model) MarkError {
	t := e.trials(blocked, drum)
	if len(t.groups) < 4 {
		return e
	}
	out, ratio := e.weigh(t, -1, 1)
	if ratio > 1 {
		out, _ = e.weigh(t, -1, ratio)
	}
	var left [][placing.ReadDim]float64
	for g := range t.groups {
		without, _ := e.weigh(t, g, math.Max(1, ratio))
		left = append(left, without.By)
	}
	n := float64(len(left))
	for a := range out.By {
		var mean, sum float64
		for _, v := range left {
			mean += v[a] / n
		}
		for _, v := range left {
			sum += (v[a] - mean) * (v[a] - mean)
		}
		// The rows left out were the drum's alone; the blocked survey's, as many and
		// as uncertain, make the other half.
		const surveys = 2
		out.Variance[a] = math.Min(e.Variance[a], surveys*math.Max(out.Variance[a], sum*(n-1)/n))
	}
	out.Sound = true
	return out
}

// markGrid is mark error number k of the grid.
func (e MarkError) markGrid(k int) (by [placing.ReadDim]float64) {
	for a, step := range [placing.ReadDim]int{k / markSteps, k % markSteps} {
		by[a] = e.By[a] + markReach*math.Sqrt(e.Variance[a])*(2*float64(step)/(markSteps-1)-1)
	}
	return by
}

// trials holds the drum's rows against the blocked survey for every mark error of
// the grid; without groups when the surveys have no ear in common.
func (e MarkError) trials(blocked, drum *Model) (t markTrials) {
	rows := survey.Rows(drum.Seatings, drum.Point)
	var at [][3]float64
	for _, s := range rows {
		at = append(at, s.Survey.Vector())
	}
	n := drum.Ears[0].Bands.N
	var shift survey.Shift
	var white mat.Dense // work space
	for k := range markSteps * markSteps {
		by := e.markGrid(k)
		shift.By = append(shift.By, [3]float64{by[0], by[1]})
		t.residuals = append(t.residuals, mat.NewDense(max(1, len(rows)), 2*n, nil))
	}
	t.turn = mat.NewDense(max(1, len(rows)), 2*n, nil)
	some := false
	for ear := range drum.Ears {
		from, to := blocked.Ears[ear], drum.Ears[ear]
		if from.Survey == nil || to.Survey == nil {
			continue
		}
		some = true
		slipped := to.Survey.Slipped()
		surface := from.Survey.On(from.Bands)
		row := to
		row.Scatter, row.Total = to.Total, from.Total // of a row with its ruler's error; of the other surface
		for i, s := range rows {
			o := placing.Observe(s, &drum.Ears)
			if !o.Present[ear] || slipped[i] {
				continue
			}
			_, slope, excess := surface.At(at[i])
			cov, ok := stats.Factorize(row.Covariance(1, excess, o.Variance[ear]))
			if !ok {
				continue
			}
			last := len(t.residuals)
			white.Reset()
			white.ReuseAs(n, last+1)
			white.SetCol(last, slope[2])
			level := surface.Levels(at[i], &shift)
			for b, own := range o.Level[ear] {
				row := white.RawRowView(b)
				for k, v := range level.RawRowView(b) {
					row[k] = own - v
				}
			}
			cov.Whiten(&white)
			for b := range n {
				row := white.RawRowView(b)
				for k, r := range t.residuals {
					r.RawRowView(i)[ear*n+b] = row[k]
				}
				t.turn.Set(i, ear*n+b, row[last])
			}
		}
	}
	if !some {
		return t
	}
	t.groups = survey.SameDisplacement(at)
	for _, r := range t.residuals {
		sums := make([]markMoment, 2*n)
		for i := range rows {
			for b, v := range r.RawRowView(i) {
				sums[b].add(v, t.turn.At(i, b), 1)
			}
		}
		t.sums = append(t.sums, sums)
	}
	return t
}

// weigh is the posterior of the mark's error on the grid without the rows of one
// group (-1: of all), what the sound says being divided by temper, and Birge's ratio of
// the best error. A constant per whitened band, the mean over rows, is taken off, and
// a turn of the headband profiled out.
func (e MarkError) weigh(t markTrials, without int, temper float64) (MarkError, float64) {
	logs := make([]float64, len(t.residuals))
	top, least, dof := math.Inf(-1), math.Inf(1), 0.0
	var less []markMoment // without that group
	for k, r := range t.residuals {
		sums := t.sums[k]
		if without >= 0 {
			less = append(less[:0], sums...)
			sums = less
			for _, i := range t.groups[without] {
				for b, v := range r.RawRowView(i) {
					sums[b].add(v, t.turn.At(i, b), -1)
				}
			}
		}
		var chi2, turned, turns float64
		dof = 0
		for _, s := range sums {
			if s.n > 1 {
				chi2 += s.r2 - s.r1*s.r1/s.n
				turned += s.rt - s.r1*s.t1/s.n
				turns += s.t2 - s.t1*s.t1/s.n
				dof += s.n - 1
			}
		}
		chi2 -= turned * turned / (turns + 1/(markTurnDeg*markTurnDeg))
		least = math.Min(least, chi2)
		logs[k] = -chi2 / (2 * temper)
		for a, v := range e.markGrid(k) {
			logs[k] -= (v - e.By[a]) * (v - e.By[a]) / (2 * e.Variance[a])
		}
		top = math.Max(top, logs[k])
	}
	out := MarkError{Read: e.Read}
	var sum float64
	for k, log := range logs {
		w := math.Exp(log - top)
		sum += w
		for a, v := range e.markGrid(k) {
			out.By[a] += w * v
			out.Variance[a] += w * v * v
		}
	}
	for a := range out.By {
		out.By[a] /= sum
		// A grid cannot tell less than its step's own uniform law.
		step := 2 * markReach * math.Sqrt(e.Variance[a]) / (markSteps - 1)
		out.Variance[a] = out.Variance[a]/sum - out.By[a]*out.By[a] + step*step/12
	}
	return out, least / math.Max(1, dof)
}
