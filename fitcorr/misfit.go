package fitcorr

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// misfit judges a recording by its fit to the survey of its own model and point,
// and names the survey that explains it best, if any does. The second value is
// false for a recording that is what it is said to be.
func misfit(s seat.Seating, own placing.Fit, refs []reference) (Misfit, bool) {
	if !own.Doubted() {
		return Misfit{}, false
	}
	out := Misfit{ID: s.ID}
	var best *reference
	most := own
	for i, r := range refs {
		if r.model == s.Model && r.point == s.Point {
			continue
		}
		if f := r.placer().Fits(s); f.Better(own) && (best == nil || f.LogDensity > most.LogDensity) {
			best, most = &refs[i], f
		}
	}
	out.Why = fmt.Sprintf("it is no recording of %s at the %s, wherever the headphone sits", s.Model, s.Point.Words())
	if best != nil {
		out.Why += fmt.Sprintf(": it fits %s at the %s", best.model, best.point.Words())
		out.Mend = "say what was recorded, or record it again"
		return out, true
	}
	out.Why += ", and no survey of this study explains it"
	out.Mend = "see which model, point and channels were recorded and whether both microphones sit in place; a headphone far outside the survey's reach is rejected too: seat it again"
	return out, own.Refused()
}

// wired reports a recording of which an ear's channel holds an electrical signal: a
// loopback, with or without the study knowing of one.
func wired(s seat.Seating) (Misfit, bool) {
	for _, ear := range capture.Ears {
		if db, flat := electrical(s.Ears[ear]); flat {
			return Misfit{s.ID, fmt.Sprintf("the %s channel is flat within %.2f dB from 100 Hz to 10 kHz, as an electrical signal is and no microphone", ear, db),
				"see which cable went where, and the channel numbers of the study"}, true
		}
	}
	return Misfit{}, false
}

// electrical reports whether a curve is as flat as no headphone is at an ear,
// with the standard deviation of its level over 100 Hz to 10 kHz in dB.
func electrical(c seat.Curve) (float64, bool) {
	const flatDB = 0.5
	var x []float64
	for b, f := range band.All() {
		if c.Counts(b) && f.Mid >= 100 && f.Mid <= 10000 {
			x = append(x, c.LevelDB[b])
		}
	}
	if len(x) < 2 {
		return math.NaN(), false
	}
	_, sd := stats.MeanSD(x)
	return sd, sd < flatDB
}

// misfits lists the ordinary fixture seatings of a model that are none.
func (p *prepared) misfits(refs []reference) []Misfit {
	var out []Misfit
	for _, sv := range p.surveyed() {
		for i, s := range sv.seatings {
			if at := sv.model.Placed[i]; s.OrdinaryOnFixture() && at.Cov != nil {
				if m, bad := misfit(s, at.Fit, refs); bad {
					out = append(out, m)
				}
			}
		}
	}
	return out
}

// references lists the surveys of the prepared models.
func references(all []*prepared) []reference {
	var out []reference
	for _, p := range all {
		for _, sv := range p.surveyed() {
			out = append(out, reference{p.ma.Model, sv.point, sync.OnceValue(func() *placing.Placer { return placing.NewPlacer(&sv.model.Ears) })})
		}
	}
	return out
}

// without leaves misfits out.
func without(ss []seat.Seating, misfits []Misfit) []seat.Seating {
	return slices.DeleteFunc(slices.Clone(ss), func(s seat.Seating) bool {
		return slices.ContainsFunc(misfits, func(m Misfit) bool { return m.ID == s.ID })
	})
}
