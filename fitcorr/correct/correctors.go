package correct

import (
	"slices"

	"asworn/capture"
	"asworn/fitcorr/seat"
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

// Corrections corrects every ordinary fixture seating by the survey of its point.
func (cs Correctors) Corrections(ss []seat.Seating) []Correction {
	for _, c := range cs {
		c.predictAll(slices.DeleteFunc(slices.Clone(ss), func(s seat.Seating) bool { return cs.of(s.Point) != c }))
	}
	var out []Correction
	for i, s := range ss {
		out = append(out, cs.of(s.Point).Corrections(ss[i:i+1])...)
	}
	return out
}
