package placing

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/internal/whiten"
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

// climber looks for maxima of the density of one seating's position. What is behind the precision is work
// space: a covariance, n × n, the curves of one ear, and a mode.
type climber struct {
	pl        *Placer
	o         Observation
	prior     Prior
	precision *mat.SymDense // inverse of the prior's covariance
	cov       *mat.SymDense
	white     *mat.Dense
	surface   [2]survey.Work
	spare     *Mode
}

// newClimber is false where the prior has no inverse. One ear was recorded at least.
func (pl *Placer) newClimber(o Observation, prior Prior) (*climber, bool) {
	precision, ok := inverseOf(prior.Cov)
	if !ok {
		return nil, false
	}
	n := max(pl.Models[0].Bands.N, pl.Models[1].Bands.N)
	c := &climber{pl: pl, o: o, prior: prior, precision: precision, cov: mat.NewSymDense(n, nil), white: mat.NewDense(4, n, nil)}
	c.spare = c.newMode()
	return c, true
}

// newMode is memory for a mode.
func (c *climber) newMode() *Mode {
	p := new(Mode)
	for e, there := range c.o.Present {
		if n := c.pl.Models[e].Bands.N; there {
			p.Curves[e], p.Excess[e] = mat.NewDense(4, n, nil), make([]float64, n)
		}
	}
	return p
}

// inverseOf is false of a covariance without one.
func inverseOf(c *mat.SymDense) (*mat.SymDense, bool) {
	copied := mat.NewSymDense(c.SymmetricDim(), nil)
	copied.CopySym(c)
	factor, ok := stats.Factorize(copied)
	if !ok {
		return nil, false
	}
	return factor.Inverse(), true
}

// climb goes from start to a local maximum of likelihood and prior by
// Gauss–Newton (Nocedal & Wright, Numerical Optimization, 2nd ed., ch. 10.3, quoted from
// memory); a step that leads down is halved, unless the parabola through two short ones falls
// from the start: near the top the slope of log|V|, which the gradient leaves out (addEar), may
// be the greater.
func (c *climber) climb(start [HeadsetDim]float64) (Mode, bool) {
	p, q := c.newMode(), c.spare
	if !c.at(p, start) || !c.widen(p) {
		return Mode{}, false
	}
	for range climbSteps {
		step, longest := c.step(p)
		if longest > climbLongest {
			for i := range step {
				step[i] *= climbLongest / longest
			}
			longest = climbLongest
		}
		last := math.Inf(-1) // change of the density by a step twice as long
		for {
			next := p.Pos
			for i := range next {
				next[i] += step[i]
			}
			if !c.at(q, next) {
				return Mode{}, false
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
		p, q = q, p
		if !c.widen(p) {
			return Mode{}, false
		}
		if longest < climbEnd {
			break
		}
	}
	c.spare = q
	p.beyond = c.pl.reach.beyond(p.Pos)
	return *p, true
}

// step is the Gauss–Newton step from p, with its longest coordinate.
func (c *climber) step(p *Mode) (step [HeadsetDim]float64, longest float64) {
	gradient := p.gradient
	for i := range gradient {
		for j := range step {
			gradient[i] -= c.precision.At(i, j) * (p.Pos[j] - c.prior.Mean[j])
		}
	}
	for i := range step {
		for j, g := range gradient {
			step[i] += p.Cov.At(i, j) * g
		}
		longest = math.Max(longest, math.Abs(step[i]))
	}
	return step, longest
}

// at sets p to the seating laid against the surface at pos, but for its covariance.
func (c *climber) at(p *Mode, pos [HeadsetDim]float64) bool {
	*p = Mode{Pos: pos, Curves: p.Curves, Excess: p.Excess}
	for e := range c.pl.Models {
		if c.o.Present[e] && !c.addEar(p, e) {
			return false
		}
	}
	p.log = p.sound
	for i := range pos {
		for j := range pos {
			p.log -= (pos[i] - c.prior.Mean[i]) * c.precision.At(i, j) * (pos[j] - c.prior.Mean[j]) / 2
		}
	}
	return true
}

// widen sets the covariance of p; false where it has none.
func (c *climber) widen(p *Mode) bool {
	sum := mat.NewSymDense(HeadsetDim, nil)
	for i := range HeadsetDim {
		for j := i; j < HeadsetDim; j++ {
			sum.SetSym(i, j, c.precision.At(i, j)+p.info[i][j])
		}
	}
	factor, ok := stats.Factorize(sum)
	if ok {
		p.Cov = factor.Inverse()
	}
	return ok
}

// addEar adds what ear e says at p.pos: likelihood −½(r'V⁻¹r + log|V|) with its
// gradient J'V⁻¹r and information J'V⁻¹J. The slope of log|V| is left out; V
// changes slowly.
func (c *climber) addEar(p *Mode, e int) bool {
	m, o, curves := &c.pl.Models[e], &c.o, p.Curves[e]
	resid := curves.RawRowView(3)
	slope := [3][]float64{curves.RawRowView(0), curves.RawRowView(1), curves.RawRowView(2)}
	c.pl.surface[e].Set(resid, slope, p.Excess[e], [3]float64(p.Pos[3*e:3*e+3]), &c.surface[e])
	for b, level := range resid {
		resid[b] = o.Level[e][b] - level
	}
	m.SetCovariance(c.cov, 1, p.Excess[e], o.Variance[e])
	cov, ok := stats.Factorize(c.cov)
	if !ok {
		return false
	}
	white := c.white // V^-½ times J and r
	white.Copy(curves)
	logDet := whiten.Rows(blas64.Triangular(cov), white)
	left := white.RawRowView(3)
	for a := range 3 {
		change := white.RawRowView(a)
		p.gradient[3*e+a] = floats.Dot(change, left)
		for b := a; b < 3; b++ {
			v := floats.Dot(change, white.RawRowView(b))
			p.info[3*e+a][3*e+b], p.info[3*e+b][3*e+a] = v, v
		}
	}
	p.Misfit[e] = floats.Dot(left, left)
	p.sound -= (p.Misfit[e] + logDet) / 2
	p.Dof[e] = -seatingUnknowns
	for _, v := range o.Variance[e] {
		if v < survey.MissingVar {
			p.Dof[e]++
		}
	}
	return true
}
