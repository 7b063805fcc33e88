package correct

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// Limits of a correction (docs/correction.md).
const (
	correctionDepthDB = 10.0 // no change is deeper: a lost seal is withheld, a notch is filled no further
	// leakTopHz is where the leak's part of a correction ends; the survey's
	// part begins at positionLowHz and ends at positionHighHz.
	leakTopHz = 890.0
	// The correction must bring the curve nearer with probability nearerWhole,
	// given all that is uncertain about offset, worn mean, survey and leak and
	// the scatter of the curve itself; of a third octave it must be likelier than not.
	nearerWhole = 0.95
	nearerThird = 0.5
	// leastShare is the least share of the predicted change worth making: half
	// of it takes away three quarters of the squared error that all would.
	leastShare = 0.5
	// A change below trifleDB is left alone and needs no reason.
	trifleDB = 0.3
	// reachBeyond is how far outside the survey an offset may lie, as a share
	// of the survey's reach.
	reachBeyond = 0.25
)

// Corrections predicts, for every ordinary fixture seating in ss, which are of the model, the
// level change from its offset and leak to the worn mean, and applies it per
// third octave only where held-out seatings show that it brings the curve
// nearer and the propagated uncertainty lets it:
//
//   - leave-one-displacement-out of the survey, at the point where it was made,
//   - leave-one-seating-out among the fixture's seatings, at the point corrected,
//   - leave-one-listener-out: nearer to where a listener wears it whom the worn
//     mean did not know.
//
// The level change is told by the survey and by the fixture's own seatings
// at their estimated places, and as much of it is made as is sure to help.
// Only position and leak are corrected, never the difference between
// ears. At the drum, where the survey was made at the blocked entrance, the same
// change is added as there, which assumes that the relation of the two does not depend on the position (near
// open-entrance loading: Møller, Hammershøi, Jensen & Sørensen, JAES 43(4),
// 1995; Hammershøi & Møller, JASA 100(1), 1996). A nil Corrector gives nil.
func (c *Corrector) Corrections(ss []seat.Seating) []Correction {
	if c == nil {
		return nil
	}
	var out []Correction
	for _, s := range ss {
		o, ok := c.offsetOf(s)
		if !ok || !s.OrdinaryOnFixture() {
			continue
		}
		for _, ear := range capture.Ears {
			if c.survey.Ears[ear].Known() {
				out = append(out, c.correct(s, o, int(ear)))
			}
		}
	}
	return out
}

// Corrector holds what the corrections of one model share.
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
	listeners    [2][]listenerPlace
	// seatings are the ordinary fixture seatings by number, where positions were
	// read off the heads. From levels alone a seating's place was found by the very
	// levels that it would be a witness of.
	seatings  [2]map[int]*placedRow
	opt       seat.Options
	predicted map[[2]int]*prediction // by seating number and ear
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
	for ear := range 2 {
		if !survey.Ears[ear].Known() {
			continue
		}
		if worn.Readings != nil {
			c.seatings[ear] = c.placedRows(ss, ear)
		}
		c.target[ear] = newTarget(survey, offsets, worn, ear, opt)
		c.displacement[ear] = displacementHelps(ss, point, &survey.Ears[ear], ear)
		c.listeners[ear] = listenerPlaces(survey, offsets, ear)
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

// offsetOf returns the offset of a fixture seating. A drum row shares that of
// the blocked row with its number: the headphone was not touched in between.
func (c *Corrector) offsetOf(s seat.Seating) (position.Offset, bool) {
	o, ok := c.offsets[s.Number]
	return o, ok && s.OnFixture()
}

// correct makes the correction of one ear of one seating.
func (c *Corrector) correct(s seat.Seating, o position.Offset, ear int) Correction {
	out := Correction{
		ID: s.ID, Point: s.Point, Ear: seat.EarName(ear),
		DeltaDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Applied: make([]bool, band.Count),
	}
	held := &c.held[s.Point][ear]
	out.BeforeDB, out.AfterDB = held.distance(s.ID)
	if why := c.outside(o.Ears[ear], ear); why != "" {
		out.Withheld = why
		return out
	}
	p := c.predict(s.Number, o, ear)
	out.PredictedDB = p.delta
	listeners := c.leaveOneListenerOut(o.Ears[ear].Value, ear)
	var reasons withheld
	asWorn := c.sitsAsWorn(o)
	shares := make([]float64, band.Count)
	for _, part := range correctionParts() {
		reasons.begin(part)
		if part.position && asWorn {
			continue // there is nothing to mend
		}
		var able []int // third octaves that nothing speaks against
		for third := part.from; third < part.to; third++ {
			reason := ""
			switch {
			case !part.position && p.deepest(third) > correctionDepthDB:
				reason = fmt.Sprintf("a change deeper than %.0f dB: seat it again", correctionDepthDB)
			case part.position && s.Point == c.point && !c.displacement[ear][third]:
				reason = "held-out displacements do not come nearer"
			case !held.helps(third, part):
				reason = held.why(s.Point)
			case part.position && !listeners[third]:
				reason = "held-out listeners do not come nearer"
			case p.nearer([]int{third}, 1) < nearerThird:
				reason = "the change is not larger than its uncertainty"
			default:
				able = append(able, third)
			}
			if reason != "" && p.deepest(third) >= trifleDB {
				reasons.add(reason)
			}
		}
		if !slices.ContainsFunc(able, func(third int) bool { return p.deepest(third) >= trifleDB }) {
			continue
		}
		sure, share := p.surest(able)
		for _, third := range able {
			if !slices.Contains(sure, third) {
				if p.deepest(third) >= trifleDB {
					reasons.add(fmt.Sprintf("not shown, with %.0f %% probability, to bring the curve nearer", 100*nearerWhole))
				}
				continue
			}
			for b := seat.PerThird * third; b < seat.PerThird*(third+1); b++ {
				if p.known[b] {
					shares[b] = share
				}
			}
			if p.deepest(third) > correctionDepthDB {
				reasons.add(fmt.Sprintf("the change is limited to %.0f dB: seat it again", correctionDepthDB))
			}
		}
	}
	for b, share := range faded(shares) {
		if share > 0 && s.Ears[ear].Counts(b) {
			change := p.move(b, share)
			out.DeltaDB[b], out.StdErrDB[b], out.Applied[b] = change, p.stderr(b, change), true
		}
	}
	out.Withheld = reasons.String()
	if out.Withheld == "" && !slices.Contains(out.Applied, true) {
		out.Withheld = fmt.Sprintf("no change of %.1f dB or more to correct", trifleDB)
		if asWorn {
			out.Withheld = "sits as worn: no place to correct"
		}
	}
	return out
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

// correctionPart is a range of third octaves that is judged as a whole.
type correctionPart struct {
	name     string
	from, to int // third octaves
	position bool
}

func correctionParts() []correctionPart {
	parts := []correctionPart{{name: "low end (seal)"}, {name: "above (position)", position: true}}
	thirds := band.AllThirds()
	for t, b := range thirds {
		if b.Lower < survey.LowHz {
			parts[0].to = t + 1
		}
		if b.Upper < survey.HighHz {
			parts[1].to = t + 1
		}
	}
	parts[1].from = parts[0].to
	return parts
}

// Correction moves one curve of one fixture seating to the worn mean.
type Correction struct {
	ID      string        `json:"id"`
	Point   capture.Point `json:"point"`
	Ear     string        `json:"ear"`
	DeltaDB []float64     `json:"delta_db"` // to add, per kept band; 0 where not applied
	// PredictedDB is the predicted change to the worn mean, applied or not; nil
	// where nothing can be predicted.
	PredictedDB []float64 `json:"predicted_db,omitempty"`
	StdErrDB    []float64 `json:"stderr_db"`
	Applied     []bool    `json:"applied"`            // per kept band
	Withheld    string    `json:"withheld,omitempty"` // why nothing, or why not everywhere
	// BeforeDB and AfterDB are the RMS distances to held-out curves, 1 kHz to 10 kHz.
	BeforeDB float64 `json:"before_db"`
	AfterDB  float64 `json:"after_db"`
}
