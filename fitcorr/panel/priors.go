package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// What the panel takes for granted before it is heard. Nothing here is from a
// standard; where no source is named a value is our choice, with its reason.
// Weights are in draws of what they stand against: a listener, a seating.

// Where people wear a headphone. Millimetres and degrees, standard deviations:
// common to both ears, and of each ear's own.
var (
	// priorBetween, of listeners' means: a cup is set by the pinna, whose height
	// and breadth differ by a few millimetres between adults.
	priorBetween, priorBetweenOwn = [3]float64{2, 2, 2}, [3]float64{0.7, 0.7, 0.7}
	// priorWithin, of one listener's seatings: what people who put a headphone
	// on again look like in repeat studies of its response (docs/offsets.md).
	priorWithin, priorWithinOwn = [3]float64{1.5, 1.5, 1.5}, [3]float64{0.5, 0.5, 0.5}
	// priorConfounded, of ear differences that look like a movement: an ear's
	// parts sit some millimetres elsewhere in relation to its canal.
	priorConfounded    = [3]float64{1.3, 1.3, 2}
	priorConfoundedOwn = placing.Scaled(priorConfounded, 0.5)
)

const (
	priorListeners           = 2.0 // weight of priorBetween in listeners, of priorWithin in seatings: a few heads overrule it
	priorConfoundedListeners = 4.0 // weight of priorConfounded: a panel of one model says nothing of it
	bareFloorDB              = 0.1 // repeated bare-ear recordings never agree better
	priorScatter             = 4.0 // weight, in ear curves, of worn scatter being the fixture's
)

// outlierTail is the tail probability under the model below which an outlier's
// residual must lie too.
const outlierTail = 1e-3

// Rounds of expectation–maximisation: until the deviance of a level changes by
// less than convergedDeviance from one round to the next (a thousandth of what
// one level adds to it; the worn mean then moves by hundredths of a millimetre),
// at most mostRounds. From settledRounds on no seating becomes an outlier or
// ceases to be one, which would go to and fro.
const (
	convergedDeviance = 1e-3
	mostRounds        = 30
	settledRounds     = 6
)

// priorCovariances is how people differ before the panel is heard.
func (p *panel) priorCovariances() *effects.Covariances {
	ears := p.law().PriorEars()
	s := &effects.Covariances{Sum: ears[0], Diff: ears[1],
		Confounded: placing.HeadsetCov(priorConfounded, priorConfoundedOwn), Fixture: [2]float64{1, 1}}
	for range p.models {
		s.Between = append(s.Between, placing.HeadsetCov(priorBetween, priorBetweenOwn))
	}
	return s
}

// root0 returns L₀: the fixture's own ear, the survey's error at the panel's
// mean position and what the surface is not straight by, as far as all its seatings share them, and the prior of the worn means. Its
// first columns are those of L that are of ears, each times scale.
func (p *panel) root0(s *effects.Covariances, l effects.Factor) (root *mat.Dense, scale []float64) {
	n := p.Bands.N
	ears, lc := l.Cols()
	var survey []*mat.Dense
	cols := lc
	if p.Read {
		cols += placing.ReadDim * len(p.models)
	}
	for _, m := range p.models {
		for e := range 2 {
			if m.ears[e].Survey == nil {
				survey = append(survey, nil)
				continue
			}
			st := &m.straight[e]
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(st.excess[i]*st.excess[j])*m.ears[e].Total.At(i, j)+m.common(e, i, j))
				}
			}
			r := stats.EigenRoot(c, 0.03)
			_, k := r.Dims()
			cols += k
			survey = append(survey, r)
		}
	}
	out := mat.NewDense(p.Dim(), cols, nil)
	scale = make([]float64, ears)
	for j := range scale {
		scale[j] = math.Sqrt(s.Fixture[0])
		if j >= l.Ears[0] {
			scale[j] = math.Sqrt(s.Fixture[1])
		}
		for i := range p.Dim() { // zero on the rows of positions
			out.Set(i, j, scale[j]*l.Whole.At(i, j))
		}
	}
	prior := stats.CholeskyRoot(placing.WornPrior())
	for m := range p.models {
		p.FillPosition(out, m, ears+placing.HeadsetDim*m, prior)
	}
	p.FillConfounded(out, s.Confounded, math.Sqrt(s.Fixture[0]), ears+placing.HeadsetDim*len(p.models))
	col := lc
	if p.Read {
		p.FillLandmark(out, lc-placing.ReadDim, p.reading.FixtureLandmarkMM)
		col += p.fillMarks(out, lc)
	}
	for i, r := range survey {
		if r == nil {
			continue
		}
		_, w := r.Dims()
		row := p.Channel(i%2, i/2)
		for a := range n {
			for b := range w {
				out.Set(row+a, col+b, r.At(a, b))
			}
		}
		col += w
	}
	return out, scale
}

// fillMarks sets the columns of what the marks err by, each model its own, and
// returns how many they are.
func (p *panel) fillMarks(out *mat.Dense, col int) int {
	for m, pm := range p.models {
		for a := range placing.ReadDim {
			out.Set(p.Landmark(m)+a, col+placing.ReadDim*m+a, math.Sqrt(pm.mark.Variance[a]))
		}
	}
	return placing.ReadDim * len(p.models)
}
