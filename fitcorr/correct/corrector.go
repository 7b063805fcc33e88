package correct

import (
	"fmt"
	"math"
	"sync"

	"asworn/capture"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// Corrector holds what the corrections of one model have in common. Several goroutines may
// use it.
type Corrector struct {
	point   capture.Point // at which survey was made
	survey  *survey.Survey
	offsets map[int]position.Offset // ordinary fixture seatings by number
	mean    seat.Estimate           // worn, both ears together …
	means   [2]seat.Estimate        // … and per ear
	target  [2]target
	// displacement[ear][third] reports that held-out displacements came nearer.
	displacement [2][]bool
	held         map[capture.Point]*[2]heldOut
	listeners    [2][]heldOutListener
	ground       [2]*ground
	// seatings are the ordinary fixture seatings in the order of their numbers, where positions were
	// read off the heads. From levels alone a seating's place was found by the very
	// levels that it would be a witness of.
	seatings  [2][]*placedSeating
	together  [2][]*witnesses // see holdAgainst
	opt       seat.Options
	mu        sync.Mutex
	predicted map[[2]int]*prediction // by seating number and ear; behind mu
}

// offsetOf returns the offset of a fixture seating. A drum row has that of
// the blocked row with its number: the headphone was not touched in between.
func (c *Corrector) offsetOf(s seat.Seating) (position.Offset, bool) {
	o, ok := c.offsets[s.Number]
	return o, ok && s.OnFixture()
}

// outside says why an offset is out of the survey's reach, if it is.
func (c *Corrector) outside(at seat.Estimate, ear int) string {
	reach := c.survey.Ears[ear].Reach()
	for _, a := range []seat.Axis{seat.Forward, seat.Up} {
		limit := (1 + reachBeyond) * reach[a]
		for _, v := range []float64{at.Value[a], c.target[ear].at.Value[a]} {
			if math.Abs(v) > limit {
				return fmt.Sprintf("everywhere: %.1f mm lies outside the survey's ±%.1f mm", v, reach[a])
			}
		}
	}
	return ""
}

// sitsAsWorn reports whether both cups of a seating are shown to lie within the
// tolerance of the worn mean: an offset below that is as good as none.
func (c *Corrector) sitsAsWorn(o position.Offset) bool {
	var ears [2]seat.Estimate
	for e := range ears {
		ears[e] = seat.Apart(o.Ears[e], c.means[e])
	}
	return verdict.JudgePosition(ears, seat.Apart(o.Headset, c.mean), c.opt.MaxOffsetMM, c.opt.Confidence).Outcome == verdict.Use
}
