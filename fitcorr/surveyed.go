package fitcorr

import (
	"slices"

	"asworn/capture"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// surveyed is what a model's seatings at one point show: their seals, and by
// the survey made at that point where those on the fixture sit.
type surveyed struct {
	point    capture.Point
	seatings []seat.Seating  // at that point
	model    *position.Model // nil without a survey at that point; err says why
	err      error
	asked    bool           // for seals and survey; not at the drum without a survey there, whose rows go with the blocked ones
	sound    []seat.Seating // seatings as seals and survey ask for them
	seals                   // once judgeSeals was called
}

// seals is what seal.Judge says.
type seals struct {
	Leaks map[string][2]seal.Leak
	Seal  seal.Seal
}

// newSurveyed is the seatings among ss at a point, of which nothing is known yet.
func newSurveyed(ss []seat.Seating, point capture.Point) *surveyed {
	sv := &surveyed{point: point}
	for _, s := range ss {
		if s.Point == point {
			sv.seatings = append(sv.seatings, s)
		}
	}
	if point == capture.Drum && len(survey.Rows(sv.seatings, point)) == 0 {
		return sv
	}
	sv.asked, sv.sound = true, unread(sv.seatings)
	return sv
}

// learn learns the survey of a model at the point and places the seatings by it.
func (sv *surveyed) learn(name string, mem Memory) {
	if !sv.asked {
		return
	}
	onFixture := sv.onFixture()
	learned, err := recall(mem, "survey", []any{name, sv.point, onFixture}, func() (position.Learned, error) { return position.Learn(name, sv.point, onFixture) })
	if err != nil {
		sv.err = err
		return
	}
	sv.model = learned.Place(sv.point, sv.seatings)
}

// judgeSeals judges the seals of the seatings.
func (sv *surveyed) judgeSeals(opt seat.Options, mem Memory) {
	if !sv.asked || sv.Leaks != nil {
		return
	}
	sv.seals, _ = recall(mem, "seals", []any{sv.sound}, func() (s seals, err error) {
		s.Leaks, s.Seal = seal.Judge(sv.sound, opt)
		return s, nil
	})
}

// onFixture are the seatings on the fixture, unread.
func (sv *surveyed) onFixture() (out []seat.Seating) {
	for _, s := range sv.sound {
		if s.OnFixture() {
			out = append(out, s)
		}
	}
	return out
}

// unread are seatings without what was read of their positions, which neither seals nor a
// survey are learned from.
func unread(ss []seat.Seating) []seat.Seating {
	out := slices.Clone(ss)
	for i := range out {
		s := &out[i]
		s.Read, s.ReadWorth, s.ReadApart, s.ReadApartWorth = nil, 0, nil, 0
	}
	return out
}

// freeze keeps what later seatings at that point are judged by.
func (sv *surveyed) freeze() FrozenPoint {
	var f FrozenPoint
	if m := sv.model; m != nil {
		f.Survey, f.Scatter, f.Total, f.Mark = &m.Survey, m.Scatter, m.Total, m.Mark
		f.Temper, f.TemperApart = m.Temper.Headset, m.Temper.Apart
		f.ApartMM = m.ApartMM
		f.Seals = sealCurves(sv.seatings)
	}
	return f
}

// partners are the numbers of the ordinary seatings on the fixture at that point
// that a survey there places.
func (sv *surveyed) partners() map[int]bool {
	out := map[int]bool{}
	if sv.model == nil {
		return out
	}
	for i, s := range sv.seatings {
		if s.OrdinaryOnFixture() && sv.model.Placed[i].Cov != nil {
			out[s.Number] = true
		}
	}
	return out
}
