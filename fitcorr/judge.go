package fitcorr

import (
	"fmt"
	"math"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// Check estimates a fixture seating recorded at either point and judges it
// against the study's worn mean. It fails when the study never met the model, or
// has no survey of it at that point (wrapping ErrNoSurvey). Without a panel it
// returns the offset and an undetermined verdict that says so.
func (f Frozen) Check(s seat.Seating) (position.Offset, verdict.Verdict, error) {
	var fm *FrozenModel
	for i := range f.Models {
		if f.Models[i].Model == s.Model {
			fm = &f.Models[i]
		}
	}
	if fm == nil {
		return position.Offset{}, verdict.Verdict{}, fmt.Errorf("the study holds no model %q", s.Model)
	}
	fp := fm.at(s.Point)
	ref, ok := find(f.references(), s.Model, s.Point)
	if !ok {
		return position.Offset{}, verdict.Verdict{}, fmt.Errorf("model %s at the %s: %w; survey the model there on the fixture first", s.Model, s.Point.Words(), survey.ErrNoSurvey)
	}
	p, ok := position.PlaceFixture(ref.placer(), s, placing.Temper{Headset: fp.Temper, Apart: fp.TemperApart})
	if !ok {
		return position.Offset{}, verdict.Verdict{}, fmt.Errorf("seating %s: too few bands count to estimate a position", s.ID)
	}
	p.Sealed(fp.leaksWith(s, f.Options)[s.ID])
	if fp.ApartMM > 0 {
		p.Apart(fp.ApartMM)
	}
	if s.Read != nil {
		mark := fm.Blocked.Mark
		if !mark.Known() {
			mark = fp.Mark
		}
		if !mark.Known() {
			return position.Offset{}, verdict.Verdict{}, fmt.Errorf("seating %s: a read position cannot be used: the study holds no readings of %s on the fixture to compare with; leave it out", s.ID, s.Model)
		}
		if gap := mark.Gross(s); gap > 0 {
			return position.Offset{}, verdict.Verdict{}, fmt.Errorf("seating %s: the read position is %.0f mm from the marked one, where no headphone sits: read it again, or leave it out", s.ID, gap)
		}
	}
	fm.refer(&p, s)
	if fm.Worn == nil {
		return p.Offset, verdict.Verdict{ID: p.Offset.ID, Seating: p.Offset.Seating, Outcome: verdict.Undetermined,
			Settle: []verdict.Remedy{{Do: settlePanel}}}, nil
	}
	return p.Offset, verdict.Judge(s, p, fm.Worn, fm.Open, f.Options), nil
}

const settlePanel = "worn seatings: without a panel there is no worn mean to compare with"

// leaksWith judges the seal of s among the study's own seatings.
func (fp *FrozenPoint) leaksWith(s seat.Seating, opt seat.Options) map[string][2]seal.Leak {
	group := make([]seat.Seating, 0, len(fp.Seals)+1)
	for _, c := range fp.Seals {
		if c.ID != s.ID {
			group = append(group, seat.Seating{ID: c.ID, Model: s.Model, Subject: c.Subject, Point: s.Point, Ears: c.Ears})
		}
	}
	leaks, _ := seal.Leaks(append(group, s), opt)
	return leaks
}

// Misfit reports whether a fixture seating is no recording of its model at its
// point, and which survey of the study explains it. It is false where the study
// has no survey to tell by.
func (f Frozen) Misfit(s seat.Seating) (Misfit, bool) {
	if m, bad := wired(s); bad {
		return m, true
	}
	refs := f.references()
	if r, ok := find(refs, s.Model, s.Point); ok {
		return misfit(s, r.placer().Fits(s), refs)
	}
	return Misfit{}, false
}

// PointOf is the point at which a recording of a model was most likely made: the surveyed
// point that explains it best; blocked without any survey. It looks at the seating's
// model and levels, not at the point that it states.
func (f Frozen) PointOf(s seat.Seating) capture.Point {
	best, most := capture.Blocked, math.Inf(-1)
	for _, r := range f.references() {
		if r.model != s.Model {
			continue
		}
		if fit := r.placer().Fits(s); fit.LogDensity > most {
			best, most = r.point, fit.LogDensity
		}
	}
	return best
}
