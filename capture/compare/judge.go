package compare

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/study"
)

// account is how far one cause explains a difference.
type account struct {
	cause cause
	ear   study.Ear // of gainOfOne and blocked
	size  float64   // dB; of compressed the part of a decibel that is lost
	score float64   // size over its standard deviation, or a normal deviate that is as likely
}

// instance is what is known of one recording against its group.
type instance struct {
	m        [2]metric
	ok       [2]bool
	low      [2]float64 // mean difference at low frequencies, dB
	shape    [2]float64 // root mean square of what is left without the level, in standard deviations
	accounts []account
	changes  [2][]change // of the accounts, in their order; none where an ear has no part in it
}

// judge holds a member against the others of its group by the law.
func (l law) judge(own *member, i int) instance {
	var c instance
	for e, o := range own.o {
		if !own.ok[e] {
			continue
		}
		c.m[e], c.ok[e] = l.metricOf(own.g, e, o)
		if c.ok[e] {
			c.low[e] = mean(over(o.d, thirds(lowFromHz, lowToHz)))
			c.shape[e] = c.m[e].shapeOf(c.m[e].d)
		}
	}
	var whole [2]metric
	whole, c.ok = l.wholeOf(i, own.o, c.ok)
	if !c.ok[0] && !c.ok[1] {
		return c
	}
	both := [2]change{}
	for e := range both {
		if c.ok[e] {
			both[e] = c.m[e].flat
			c.try(gainOfOne, study.Ear(e), one(e, both[e]))
		}
	}
	c.try(gainOfBoth, 0, both)
	for e := range c.ok {
		if !c.ok[e] {
			continue
		}
		var best account
		var shelf [2]change
		for _, v := range c.m[e].shelves() {
			if a := c.account(blocked, study.Ear(e), one(e, v)); math.Abs(a.score) >= math.Abs(best.score) {
				best, shelf = a, one(e, v)
			}
		}
		c.add(best, shelf)
	}
	c.squeezed(whole, own)
	return c
}

// one is a change of one ear alone.
func one(e int, v change) (out [2]change) {
	out[e] = v
	return out
}

func (c *instance) try(why cause, e study.Ear, of [2]change) {
	c.add(c.account(why, e, of), of)
}

func (c *instance) add(a account, of [2]change) {
	c.accounts = append(c.accounts, a)
	for e, v := range of {
		c.changes[e] = append(c.changes[e], v)
	}
}

// account fits the size of a change by generalised least squares.
func (c instance) account(why cause, ear study.Ear, of [2]change) account {
	var cross, power float64
	for e, change := range of {
		if change.v != nil {
			cross += mat.Dot(change.v, c.m[e].weighed)
			power += change.power
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
	if v := c.changes[e][k].v; v != nil {
		d.AddScaledVec(d, -c.accounts[k].size, v)
	}
	return c.m[e].shapeOf(d)
}
