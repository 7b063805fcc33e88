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
		p = c.newPrediction(number, o, ear)
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
	_ = workers.All(context.Background(), len(needs), c.opt.Jobs, func(i int) { // ends with its work alone
		made[i] = c.newPrediction(needs[i].number, needs[i].offset, needs[i].ear)
	})
	for i, n := range needs {
		c.predicted[[2]int{n.number, n.ear}] = made[i]
	}
}

func (c *Corrector) newPrediction(number int, o position.Offset, ear int) *prediction {
	e, t := &c.survey.Ears[ear], &c.target[ear]
	p := &prediction{
		delta: make([]float64, band.Count), known: make([]bool, band.Count),
		position: e.TellsPlace(), seal: t.sealChange(o.Leak[ear]),
	}
	own, others := c.own(ear, number)
	all := others
	if own != nil {
		all = append(slices.Clone(others), own)
	}
	mark := e.AtMark()
	var surface conditioned
	targets := [2]view{newView(e, t.at.Value, mark), newView(e, o.Ears[ear].Value, mark)}
	surface.condition(e, &targets, c.estimated(ear, all))
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
	rows := make([]view, 0, len(all))
	for i, place := range t.draw(rng, o.Ears[ear]) {
		targets[0].moveTo(e, place.mean, mark)
		targets[1].moveTo(e, place.seating, mark)
		rows = rows[:0]
		for _, w := range others {
			rows = append(rows, w.drawn[i])
		}
		if own != nil {
			rows = append(rows, targets[1])
		}
		surface.condition(e, &targets, witnesses{all, rows, c.known[ear][i], own != nil})
		p.draw(e, own, &surface, common, rng)
	}
	return p
}
