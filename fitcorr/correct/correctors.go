package correct

import (
	"context"
	"slices"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// Correctors are the correctors of one model by the point whose survey they rest
// on; empty without a survey or a worn mean.
type Correctors map[capture.Point]*Corrector

// of returns the corrector of seatings at a point: that of the survey made
// there, or where there is none that of the blocked entrance; nil without one.
func (cs Correctors) of(p capture.Point) *Corrector {
	if c := cs[p]; c != nil {
		return c
	}
	return cs[capture.Blocked]
}

// Corrections corrects every ordinary fixture seating of ss by the survey of its point, in dB
// (Corrector.Corrections); nil when there is none, or no corrector. jobs is the number of
// workers; 0 means all cores.
func (cs Correctors) Corrections(ss []seat.Seating, jobs int) []Correction {
	for _, c := range cs {
		c.predictAll(slices.DeleteFunc(slices.Clone(ss), func(s seat.Seating) bool { return cs.of(s.Point) != c }))
	}
	each := make([][]Correction, len(ss))
	_ = workers.All(context.Background(), len(ss), jobs, func(i int) { // ends with its work alone
		each[i] = cs.of(ss[i].Point).Corrections(ss[i : i+1])
	})
	return slices.Concat(each...)
}

// New returns the corrector of one model from all its seatings ss, the survey made at
// point, and the offsets and worn mean that were estimated from them; nil without a
// survey or a worn mean.
func New(ss []seat.Seating, point capture.Point, survey *survey.Survey, offsets []position.Offset, worn *panel.Worn, opt seat.Options) *Corrector {
	if survey == nil || worn == nil || (!survey.Ears[0].Known() && !survey.Ears[1].Known()) {
		return nil
	}
	c := &Corrector{
		point: point, survey: survey, mean: worn.Mean, means: worn.EarMean, offsets: map[int]position.Offset{}, opt: opt,
		held: map[capture.Point]*[2]heldOut{}, predicted: map[[2]int]*prediction{},
	}
	for _, o := range offsets {
		if o.OnFixture() && !o.Survey {
			c.offsets[o.Seating] = o
		}
	}
	var scales []float64 // of both ears where they have the same degrees of freedom
	for ear := range 2 {
		if !survey.Ears[ear].Known() {
			continue
		}
		c.ground[ear] = newGround(&survey.Ears[ear])
		if worn.Readings != nil {
			c.seatings[ear] = c.placedSeatings(ss, ear)
		}
		c.holdAgainst(ear)
		if df := worn.EarMean[ear].DF; scales == nil || df != worn.EarMean[0].DF {
			scales = scalesOf(df)
		}
		c.target[ear] = newTarget(offsets, worn, ear, scales, opt)
		c.displacement[ear] = displacementHelps(ss, point, &survey.Ears[ear], ear)
		c.listeners[ear] = heldOutListeners(survey, offsets, ear)
	}
	for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
		c.held[p] = &[2]heldOut{}
		for ear := range 2 {
			if survey.Ears[ear].Known() {
				c.held[p][ear] = c.holdOutSeatings(ss, p, ear)
			}
		}
	}
	return c
}
