package panel

import (
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// A worn reading that is far off counts less than it would, and is named.
func TestReadingFarOff(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	plan := toy.Small(5)
	plan.Models, plan.Listeners, plan.Seatings, plan.Bare = 1, 8, 4, false
	ss, truth := plan.Study()
	opt := seat.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: 0.5, LandmarkMM: 0.3, FixtureLandmarkMM: 0.3}
	ss = toy.Read(ss, truth, 5, 0.5, 0.3)
	learned, err := position.Learn("Model A", capture.Blocked, ss)
	if err != nil {
		t.Fatal(err)
	}
	m := learned.Place(capture.Blocked, ss)
	position.ReadMarks([]*position.Model{m}, opt.Reading)
	i := slices.IndexFunc(m.Seatings, func(s seat.Seating) bool { return s.Worn() && s.Subject == "L02" })
	id := m.Seatings[i].ID
	up := func(by float64) (float64, bool) {
		read := *m.Seatings[i].Read
		defer func() { m.Seatings[i].Read = &read }()
		m.Seatings[i].Read = &capture.Reading{ForwardMM: read.ForwardMM, UpMM: read.UpMM + by}
		out, err := Fit(t.Context(), []*position.Model{m}, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		r := out["Model A"]
		j := slices.IndexFunc(r.Offsets, func(o position.Offset) bool { return o.ID == id })
		named := slices.ContainsFunc(r.Doubts, func(s string) bool { return strings.Contains(s, id) && strings.Contains(s, "beyond chance") })
		return r.Offsets[j].Headset.Value[1], named
	}
	own, plain := up(0)
	near, close := up(0.5)
	far, off := up(12)
	t.Logf("up %.2f mm; read 0.5 mm higher %.2f, 12 mm higher %.2f", own, near, far)
	if plain || close || !off {
		t.Errorf("named: as it was read %v, 0.5 mm higher %v, 12 mm higher %v", plain, close, off)
	}
	if far-own > 0.95*24*(near-own) {
		t.Errorf("the estimate follows a reading that is 12 mm off by %.2f mm, one 0.5 mm off by %.2f", far-own, near-own)
	}
}
