package compare

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/capture/study"
)

// account is how far one cause explains a difference.
type account struct {
	cause cause
	ear   study.Ear // of gainOfOne and blocked
	size  float64   // dB; of compressed the part of a decibel that is lost
	score float64   // size over its standard deviation, or a normal deviate that is as likely
}

// shelves is how many corners are tried of a microphone that something lies over.
const shelves = 6

// instance is what is known of one recording against its group.
type instance struct {
	m        [2]metric
	ok       [2]bool
	low      [2]float64 // mean difference at low frequencies, dB
	shape    [2]float64 // root mean square of what is left without the level, in standard deviations
	accounts []account
	changes  [2][]*mat.VecDense // of the accounts, in their order, for a size of one; nil where an ear has no part in it
}

// judge holds a recording against the others of its group by the law.
func (l law) judge(g group, rows []study.Seating, recs []Traits, i int) instance {
	var c instance
	var whole [2]metric
	for e := range whole {
		o, ok := g.about(rows, recs, study.Ear(e), i)
		if !ok {
			continue
		}
		c.m[e], c.ok[e] = l.metricOf(g, e, o)
		if c.ok[e] {
			c.low[e] = mean(over(o.d, thirds(lowFromHz, lowToHz)))
			c.shape[e] = c.m[e].shapeOf(c.m[e].d)
			whole[e], c.ok[e] = l.wholeOf(i, o)
		}
	}
	if !c.ok[0] && !c.ok[1] {
		return c
	}
	both := [2]*mat.VecDense{}
	for e := range both {
		if c.ok[e] {
			both[e] = c.m[e].flat()
			c.try(gainOfOne, study.Ear(e), one(e, both[e]))
		}
	}
	c.try(gainOfBoth, 0, both)
	bands := band.AllThirds()
	for e := range c.ok {
		if !c.ok[e] {
			continue
		}
		var best account
		var shelf [2]*mat.VecDense
		for k := range 2 * shelves {
			corner, slope := 1600*math.Pow(5, float64(k%shelves)/(shelves-1)), 2+2*float64(k/shelves)
			v := c.m[e].flat()
			for k, b := range c.m[e].at {
				v.SetVec(k, 1/(1+math.Pow(corner/bands[b].Mid, slope)))
			}
			if a := c.account(blocked, study.Ear(e), one(e, v)); math.Abs(a.score) >= math.Abs(best.score) {
				best, shelf = a, one(e, v)
			}
		}
		c.add(best, shelf)
	}
	c.squeezed(whole, recs[i])
	return c
}

// one is a change of one ear alone.
func one(e int, v *mat.VecDense) (out [2]*mat.VecDense) {
	out[e] = v
	return out
}

func (c *instance) try(why cause, e study.Ear, change [2]*mat.VecDense) {
	c.add(c.account(why, e, change), change)
}

func (c *instance) add(a account, change [2]*mat.VecDense) {
	c.accounts = append(c.accounts, a)
	for e, v := range change {
		c.changes[e] = append(c.changes[e], v)
	}
}

// account fits the size of a change by generalised least squares.
func (c instance) account(why cause, ear study.Ear, change [2]*mat.VecDense) account {
	var cross, power float64
	for e, v := range change {
		if v != nil {
			cross += mat.Dot(v, c.m[e].weighed)
			power += quadratic(&c.m[e].chol, v)
		}
	}
	if !(power > 0) {
		return account{cause: why, ear: ear}
	}
	return account{why, ear, cross / power, cross / math.Sqrt(power)}
}

// left is the same after a cause was taken away.
func (c instance) left(k, e int) float64 {
	if !c.ok[e] {
		return 0
	}
	d := mat.VecDenseCopyOf(c.m[e].d)
	if v := c.changes[e][k]; v != nil {
		d.AddScaledVec(d, -c.accounts[k].size, v)
	}
	return c.m[e].shapeOf(d)
}
