package placing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Gauss–Newton: the most steps, the longest of them in mm or degrees (beyond
// that the surface bends), and the one that ends the climb.
const (
	climbSteps   = 20
	climbLongest = 4.0
	climbEnd     = 1e-4
	climbShort   = 0.1 // the surface hardly bends over twice that
)

// climber looks for maxima of the density of one seating's position. cov and white are work
// space, n × n and n × 4.
type climber struct {
	pl        *Placer
	o         Observation
	prior     Prior
	precision *mat.Dense // inverse of the prior's covariance
	cov       *mat.SymDense
	white     *mat.Dense
}

// newClimber is false where the prior has no inverse. One ear was recorded at least.
func (pl *Placer) newClimber(o Observation, prior Prior) (*climber, bool) {
	precision := mat.NewDense(HeadsetDim, HeadsetDim, nil)
	if precision.Inverse(prior.Cov) != nil {
		return nil, false
	}
	n := max(pl.Models[0].Bands.N, pl.Models[1].Bands.N)
	return &climber{pl, o, prior, precision, mat.NewSymDense(n, nil), mat.NewDense(n, 4, nil)}, true
}

// climb goes from start to a local maximum of likelihood and prior by
// Gauss–Newton (Nocedal & Wright, Numerical Optimization, 2nd ed., ch. 10.3, quoted from
// memory); a step that leads down is halved, unless the parabola through two short ones falls
// from the start: near the top the slope of log|V|, which the gradient leaves out (addEar), may
// be the greater.
func (c *climber) climb(start [HeadsetDim]float64) (Mode, bool) {
	p, ok := c.at(start)
	if !ok {
		return p, false
	}
	for range climbSteps {
		step, longest := c.step(p)
		if longest > climbLongest {
			for i := range step {
				step[i] *= climbLongest / longest
			}
			longest = climbLongest
		}
		var q Mode
		last := math.Inf(-1) // change of the density by a step twice as long
		for {
			next := p.Pos
			for i := range next {
				next[i] += step[i]
			}
			if q, ok = c.at(next); !ok {
				return p, false
			}
			change := q.log - p.log
			if change > 0 || longest < climbEnd || longest < climbShort && 4*change < last {
				break
			}
			last = change
			for i := range step {
				step[i] /= 2
			}
			longest /= 2
		}
		if q.log <= p.log {
			break
		}
		p = q
		if longest < climbEnd {
			break
		}
	}
	p.beyond = c.pl.reach.beyond(p.Pos)
	return p, true
}

// step is the Gauss–Newton step from p, with its longest coordinate.
func (c *climber) step(p Mode) (step [HeadsetDim]float64, longest float64) {
	gradient := mat.NewVecDense(HeadsetDim, nil)
	for i := range step {
		v := p.gradient[i]
		for j := range step {
			v -= c.precision.At(i, j) * (p.Pos[j] - c.prior.Mean[j])
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
func (c *climber) at(pos [HeadsetDim]float64) (Mode, bool) {
	p := Mode{Pos: pos, info: mat.NewDense(HeadsetDim, HeadsetDim, nil)}
	for e := range c.pl.Models {
		if c.o.Present[e] && !c.addEar(&p, e) {
			return p, false
		}
	}
	p.log = p.sound
	var sum, cov mat.Dense
	for i := range pos {
		for j := range pos {
			p.log -= (pos[i] - c.prior.Mean[i]) * c.precision.At(i, j) * (pos[j] - c.prior.Mean[j]) / 2
		}
	}
	sum.Add(c.precision, p.info)
	if cov.Inverse(&sum) != nil {
		return p, false
	}
	p.Cov = stats.Symmetric(&cov)
	return p, true
}

// addEar adds what ear e says at p.pos: likelihood −½(r'V⁻¹r + log|V|) with its
// gradient J'V⁻¹r and information J'V⁻¹J. The slope of log|V| is left out; V
// changes slowly.
func (c *climber) addEar(p *Mode, e int) bool {
	m, o := &c.pl.Models[e], &c.o
	n := m.Bands.N
	level, slope, excess := c.pl.surface[e].At([3]float64(p.Pos[3*e : 3*e+3]))
	p.Resid[e], p.Slope[e], p.Excess[e] = make([]float64, n), mat.NewDense(n, 3, nil), excess
	white := c.white // V^-½ times the columns J and r
	for b := range n {
		p.Resid[e][b] = o.Level[e][b] - level[b]
		for a := range 3 {
			p.Slope[e].Set(b, a, slope[a][b])
			white.Set(b, a, slope[a][b])
		}
		white.Set(b, 3, p.Resid[e][b])
	}
	m.setCovariance(c.cov, 1, excess, o.Variance[e])
	cov, ok := stats.Factorize(c.cov)
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
