package correct

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
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
// at their estimated positions, and as much of it is made as is sure to help.
// Only position and leak are corrected, never the difference between
// ears. At the drum, where the survey was made at the blocked entrance, the same
// change is added as there, which assumes that the relation of the two does not depend on
// the position (near open-entrance loading: Møller, Hammershøi, Jensen & Sørensen, JAES
// 43(4), 1995; Hammershøi & Møller, JASA 100(1), 1996). Levels and changes are in dB per kept
// band. A nil Corrector gives nil, and so do seatings without an offset.
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
		asWorn := c.sitsAsWorn(o)
		for _, ear := range capture.Ears {
			if c.survey.Ears[ear].Known() {
				out = append(out, c.correct(s, o, int(ear), asWorn))
			}
		}
	}
	return out
}

// correct makes the correction of one ear of one seating.
func (c *Corrector) correct(s seat.Seating, o position.Offset, ear int, asWorn bool) Correction {
	out := Correction{
		ID: s.ID, Point: s.Point, Ear: capture.Ear(ear),
		DeltaDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Applied: make([]bool, band.Count),
	}
	out.BeforeDB, out.AfterDB = c.held[s.Point][ear].distance(s.ID)
	if why := c.outside(o.Ears[ear], ear); why != "" {
		out.Withheld = why
		return out
	}
	p := c.predict(s.Number, o, ear)
	out.PredictedDB = p.delta
	here, _ := c.survey.Predict(ear, o.Ears[ear].Value)
	listeners := nearerToListeners(c.listeners[ear], here)
	var reasons withheld
	shares := make([]float64, band.Count)
	for _, part := range correctionParts() {
		reasons.begin(part)
		if part.position && asWorn {
			continue // there is nothing to mend
		}
		able := c.able(s.Point, ear, part, p, listeners, &reasons)
		if slices.ContainsFunc(able, func(third int) bool { return p.deepest(third) >= trifleDB }) {
			p.fillShares(shares, able, &reasons)
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

// able are the third octaves of a part that nothing speaks against; why the others are
// withheld goes to reasons. listeners reports per third octave whether the held-out ones
// come nearer.
func (c *Corrector) able(point capture.Point, ear int, part correctionPart, p *prediction, listeners []bool, reasons *withheld) (able []int) {
	held := &c.held[point][ear]
	for third := part.from; third < part.to; third++ {
		reason := ""
		switch {
		case !part.position && p.deepest(third) > correctionDepthDB:
			reason = fmt.Sprintf("a change deeper than %.0f dB: seat it again", correctionDepthDB)
		case part.position && point == c.point && !c.displacement[ear][third]:
			reason = "held-out displacements do not come nearer"
		case !held.helps(third, part):
			reason = held.why(point)
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
	return able
}

// fillShares sets the share of the change to make in the kept bands of the able third
// octaves, as far as it is sure to help; why it is not made goes to reasons.
func (p *prediction) fillShares(shares []float64, able []int, reasons *withheld) {
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

// Correction moves one curve of one fixture seating to the worn mean.
type Correction struct {
	ID      string        `json:"id"`
	Point   capture.Point `json:"point"`
	Ear     capture.Ear   `json:"ear"`
	DeltaDB []float64     `json:"delta_db"` // to add, per kept band; 0 where not applied
	// PredictedDB is the predicted change to the worn mean, applied or not; nil
	// where nothing can be predicted.
	PredictedDB []float64 `json:"predicted_db,omitempty"`
	StdErrDB    []float64 `json:"stderr_db"`          // of what is left after the change, per kept band; 0 where not applied
	Applied     []bool    `json:"applied"`            // per kept band
	Withheld    string    `json:"withheld,omitempty"` // why nothing, or why not everywhere
	// BeforeDB and AfterDB are the RMS distances to held-out curves, 1 kHz to 10 kHz.
	BeforeDB float64 `json:"before_db"`
	AfterDB  float64 `json:"after_db"`
}

// HalfDB is half the interval of the correction of band b at a confidence.
func (c Correction) HalfDB(b int, confidence float64) float64 {
	return stats.Coverage(confidence, 0) * c.StdErrDB[b]
}

// Level is a seating's curve at the correction's point and ear, corrected, with the
// interval of the recording's noise and of what is left after the correction; bands
// that are not corrected are as measured.
func (c Correction) Level(of seat.Curve, confidence float64) seat.Level {
	k := stats.Coverage(confidence, 0)
	return seat.NewLevel(len(of.LevelDB), func(b int) (float64, float64, bool) {
		if !of.Counts(b) || b >= len(c.DeltaDB) {
			return 0, 0, false
		}
		return of.LevelDB[b] + c.DeltaDB[b], k * math.Hypot(of.StdErrDB[b], c.StdErrDB[b]), true
	})
}
