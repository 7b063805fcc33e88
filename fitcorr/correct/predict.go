package correct

import (
	"context"
	"math/rand/v2"
	"slices"

	"asworn/capture/band"
	"asworn/capture/workers"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// predict predicts the change of one ear of fixture seating number, the same
// for all points.
func (c *Corrector) predict(number int, o position.Offset, ear int) *prediction {
	key := [2]int{number, ear}
	c.mu.Lock()
	p, ok := c.predicted[key]
	c.mu.Unlock()
	if !ok {
		p = c.newPrediction(number, o, ear, new(space))
		c.mu.Lock()
		c.predicted[key] = p
		c.mu.Unlock()
	}
	return p
}

// predictAll makes the predictions that predict will be asked for, side by side.
func (c *Corrector) predictAll(ss []seat.Seating) {
	if c == nil {
		return
	}
	type need struct {
		number, ear int
		offset      position.Offset
	}
	var needs []need
	for _, s := range ss {
		o, ok := c.offsetOf(s)
		if !ok || !s.OrdinaryOnFixture() {
			continue
		}
		for ear := range c.survey.Ears {
			n := need{s.Number, ear, o}
			if c.survey.Ears[ear].Known() && c.outside(o.Ears[ear], ear) == "" && !slices.ContainsFunc(needs, func(m need) bool { return m.number == n.number && m.ear == ear }) {
				needs = append(needs, n)
			}
		}
	}
	made := make([]*prediction, len(needs))
	_ = workers.Each(context.Background(), len(needs), c.opt.Jobs, nil, func(context.Context) func(int) error { // ends with its work alone
		var own [2]space // per ear, whose surveys differ
		return func(i int) error {
			n := &needs[i]
			made[i] = c.newPrediction(n.number, n.offset, n.ear, &own[n.ear])
			return nil
		}
	})
	for i, n := range needs {
		c.predicted[[2]int{n.number, n.ear}] = made[i]
	}
}

// space is memory that predictions of one ear are made in.
type space struct {
	views   [2]*views
	surface conditioned
}

func (c *Corrector) newPrediction(number int, o position.Offset, ear int, space *space) *prediction {
	e, t := &c.survey.Ears[ear], &c.target[ear]
	p := &prediction{
		delta: make([]float64, band.Count), known: make([]bool, band.Count),
		position: c.ground[ear].tells, seal: t.sealChange(o.Leak[ear]),
	}
	g, together, own := c.ground[ear], c.together[ear], c.placed(ear, number)
	surface := &space.surface
	here := g.see([][3]float64{t.at.Value, o.Ears[ear].Value}, nil)
	surface.condition(together[correctionDraws], [2]view{{here, 0}, {here, 1}}, nil, false)
	ofPlace, ofSeal := edgeFade(survey.LowHz, survey.HighHz), edgeFade(0, leakTopHz)
	for b := range p.delta {
		if p.position[b] {
			p.delta[b] += ofPlace[b] * (surface.level[0][b] - surface.level[1][b])
		}
		p.delta[b] += ofSeal[b] * p.seal.change[b]
		p.known[b] = p.position[b] || p.seal.known[b]
	}
	rng := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+1)+number)))
	common := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+5)))) // what all seatings have in common
	means, seatings := t.draw(rng, o.Ears[ear])
	for end, at := range [2][][3]float64{means, seatings} {
		space.views[end] = g.see(at, space.views[end])
	}
	p.begin()
	for i := range correctionDraws {
		surface.condition(together[i], [2]view{{space.views[0], i}, {space.views[1], i}}, own, own != nil)
		p.draw(e, own, surface, common, rng)
	}
	return p
}
