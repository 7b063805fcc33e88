package placing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Mode is a local maximum of the density of one seating's position, and what
// the sound says around it. What belongs to an ear that was not recorded is nil or zero.
type Mode struct {
	Pos      [HeadsetDim]float64 // mm, mm, degrees, twice
	Cov      *mat.SymDense       // HeadsetDim square, mm and degrees: inverse of the information of prior and sound
	sound    float64             // log likelihood of the levels at Pos, without constants
	gradient [HeadsetDim]float64 // of sound, per mm or degree
	info     *mat.Dense          // J'V⁻¹J, HeadsetDim square: the information of the sound
	log      float64             // log likelihood and log prior at Pos
	Misfit   [2]float64          // r'V⁻¹r per ear: χ² of the residual
	Dof      [2]float64          // its degrees of freedom: bands less three axes, gain and leak tail
	Resid    [2][]float64        // r per ear: level minus surface, dB, n
	Slope    [2]*mat.Dense       // J per ear: slope of the surface, n × 3, dB per mm, mm, degree
	Excess   [2][]float64        // per ear: variance of the surface over that of the scatter, n
}

// Placer estimates the positions of many seatings against the same survey. It may be used
// by several goroutines.
type Placer struct {
	Models  *[2]Ear
	surface [2]*survey.BandSurface
	grid    [2]grid
}

// NewPlacer prepares the surveys of the ears of a model; one without a survey says nothing.
// The covariances are read anew for every seating, so that they may be changed between
// two, not meanwhile.
func NewPlacer(models *[2]Ear) *Placer {
	pl := &Placer{Models: models}
	half := gridHalf(models)
	for e := range models {
		if m := &models[e]; m.Survey != nil {
			pl.surface[e] = m.Survey.On(m.Bands)
			pl.grid[e] = pl.newGrid(e, half)
		}
	}
	return pl
}

const (
	// seatingUnknowns are what one ear's levels determine: three axes, gain and leak tail.
	seatingUnknowns = 5
	// sameMode is how many squared standard deviations apart two maxima must lie
	// to be two.
	sameMode = 0.5
)

// Modes returns all local maxima found from the starts of the grid, the most
// probable first, within sameMode of each other only the better. Nil when no ear was
// recorded well enough.
func (pl *Placer) Modes(o Observation, prior Prior) []Mode {
	if !o.Present[0] && !o.Present[1] {
		return nil
	}
	var out []Mode
	for _, start := range pl.starts(o, prior) {
		p, ok := pl.climb(o, prior, start)
		if !ok {
			continue
		}
		at := 0
		same := false
		for at < len(out) && out[at].log >= p.log {
			same = same || out[at].near(p)
			at++
		}
		if same {
			continue
		}
		kept := append(out[:at:at], p)
		for _, q := range out[at:] { // those less likely than p
			if !p.near(q) {
				kept = append(kept, q)
			}
		}
		out = kept
	}
	return out
}

// MostLikely returns the most probable mode, or the one that a climb from a start (mm, mm,
// degrees, twice) comes to; a nil start stands for the grid. False when no ear was
// recorded well enough or a covariance has no inverse.
func (pl *Placer) MostLikely(o Observation, prior Prior, start *[HeadsetDim]float64) (Mode, bool) {
	if start == nil {
		if all := pl.Modes(o, prior); len(all) > 0 {
			return all[0], true
		}
		return Mode{}, false
	}
	if !o.Present[0] && !o.Present[1] {
		return Mode{}, false
	}
	return pl.climb(o, prior, *start)
}

// near reports whether q lies within the uncertainty of p (sameMode).
func (p Mode) near(q Mode) bool {
	var chol mat.Cholesky
	diff := mat.NewVecDense(HeadsetDim, nil)
	for i := range p.Pos {
		diff.SetVec(i, q.Pos[i]-p.Pos[i])
	}
	var x mat.VecDense
	if !chol.Factorize(p.Cov) || chol.SolveVecTo(&x, diff) != nil {
		return false
	}
	return mat.Dot(diff, &x) < sameMode
}

// Gauss–Newton: the most steps, the longest of them in mm or degrees (beyond
// that the surface bends), and the one that ends the climb.
const (
	climbSteps   = 20
	climbLongest = 4.0
	climbEnd     = 1e-4
)

// climb goes from start to a local maximum of likelihood and prior by
// Gauss–Newton (Nocedal & Wright, Numerical Optimization, 2nd ed., ch. 10.3, quoted from
// memory); a step that leads down is halved.
func (pl *Placer) climb(o Observation, prior Prior, start [HeadsetDim]float64) (Mode, bool) {
	precision := mat.NewDense(HeadsetDim, HeadsetDim, nil)
	if precision.Inverse(prior.Cov) != nil {
		return Mode{}, false
	}
	p, ok := pl.at(o, prior, precision, start)
	if !ok {
		return p, false
	}
	for range climbSteps {
		step, longest := p.step(prior, precision)
		if longest > climbLongest {
			for i := range step {
				step[i] *= climbLongest / longest
			}
			longest = climbLongest
		}
		var q Mode
		for {
			next := p.Pos
			for i := range next {
				next[i] += step[i]
			}
			if q, ok = pl.at(o, prior, precision, next); !ok {
				return p, false
			}
			if q.log > p.log || longest < climbEnd {
				break
			}
			for i := range step {
				step[i] /= 2
			}
			longest /= 2
		}
		if q.log > p.log {
			p = q
		}
		if longest < climbEnd {
			break
		}
	}
	return p, true
}

// step is the Gauss–Newton step from p, with its longest coordinate.
func (p Mode) step(prior Prior, precision *mat.Dense) (step [HeadsetDim]float64, longest float64) {
	gradient := mat.NewVecDense(HeadsetDim, nil)
	for i := range step {
		v := p.gradient[i]
		for j := range step {
			v -= precision.At(i, j) * (p.Pos[j] - prior.Mean[j])
		}
		gradient.SetVec(i, v)
	}
	var d mat.VecDense
	d.MulVec(p.Cov, gradient)
	for i := range step {
		step[i] = d.AtVec(i)
		longest = math.Max(longest, math.Abs(step[i]))
	}
	return step, longest
}

// at lays the seating against the surface at pos.
func (pl *Placer) at(o Observation, prior Prior, precision *mat.Dense, pos [HeadsetDim]float64) (Mode, bool) {
	p := Mode{Pos: pos, info: mat.NewDense(HeadsetDim, HeadsetDim, nil)}
	for e := range pl.Models {
		if o.Present[e] && !pl.addEar(&p, o, e) {
			return p, false
		}
	}
	p.log = p.sound
	var sum, cov mat.Dense
	for i := range pos {
		for j := range pos {
			p.log -= (pos[i] - prior.Mean[i]) * precision.At(i, j) * (pos[j] - prior.Mean[j]) / 2
		}
	}
	sum.Add(precision, p.info)
	if cov.Inverse(&sum) != nil {
		return p, false
	}
	p.Cov = stats.Symmetric(&cov)
	return p, true
}

// addEar adds what ear e says at p.pos: likelihood −½(r'V⁻¹r + log|V|) with its
// gradient J'V⁻¹r and information J'V⁻¹J. The slope of log|V| is left out; V
// changes slowly.
func (pl *Placer) addEar(p *Mode, o Observation, e int) bool {
	m := &pl.Models[e]
	n := m.Bands.N
	level, slope, excess := pl.surface[e].At([3]float64(p.Pos[3*e : 3*e+3]))
	p.Resid[e], p.Slope[e], p.Excess[e] = make([]float64, n), mat.NewDense(n, 3, nil), excess
	white := mat.NewDense(n, 4, nil) // V^-½ times the columns J and r
	for b := range n {
		p.Resid[e][b] = o.Level[e][b] - level[b]
		for a := range 3 {
			p.Slope[e].Set(b, a, slope[a][b])
			white.Set(b, a, slope[a][b])
		}
		white.Set(b, 3, p.Resid[e][b])
	}
	cov, ok := stats.Factorize(m.Covariance(1, excess, o.Variance[e]))
	if !ok {
		return false
	}
	cov.Whiten(white)
	var square mat.Dense // 4 × 4
	square.Mul(white.T(), white)
	for a := range 3 {
		p.gradient[3*e+a] = square.At(a, 3)
		for b := range 3 {
			p.info.Set(3*e+a, 3*e+b, square.At(a, b))
		}
	}
	p.Misfit[e] = square.At(3, 3)
	p.sound -= (p.Misfit[e] + cov.LogDet()) / 2
	p.Dof[e] = -seatingUnknowns
	for _, v := range o.Variance[e] {
		if v < survey.MissingVar {
			p.Dof[e]++
		}
	}
	return true
}
