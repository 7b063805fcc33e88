package pipeline

import (
	"testing"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report"
)

// TestCheckCompares brings a recording whose polarity is turned to a study of
// eight: as a new placement, and as one that the study holds already.
func TestCheckCompares(t *testing.T) {
	recording := func(polarity float64) capture.Recording {
		rec := capture.Recording{Repeats: 2, DriftSEPPM: 0.1}
		for e := range rec.Ears {
			rec.Ears[e].Polarity = polarity
		}
		return rec
	}
	s := &FrozenStudy{}
	row := func(n int) capture.Seating {
		return capture.Seating{Model: "Model A", Subject: capture.FixtureSubject, Point: capture.Blocked, Number: n}
	}
	for n := 1; n <= 8; n++ {
		s.frozen.Rows = append(s.frozen.Rows, row(n))
		s.frozen.Traits = append(s.frozen.Traits, capture.TraitsOf(capture.Setup{}, recording(0.6)))
	}
	for n := 8; n <= 9; n++ {
		turned := recording(-0.6)
		s.compare(row(n), &turned)
		if f := turned.Quality.Findings; len(f) != 2 || f[0].Code != "polarity" || f[1].Code != "polarity" {
			t.Errorf("seating %d, turned: %+v", n, f)
		}
		same := recording(0.5)
		s.compare(row(n), &same)
		if f := same.Quality.Findings; len(f) != 0 {
			t.Errorf("seating %d: %+v", n, f)
		}
	}
	if len(s.frozen.Rows) != 8 {
		t.Error("the study's rows changed")
	}
}

// TestNumberAfterOrdinarySeatings numbers a new seating after the ordinary ones
// of the fixture, whatever numbers a survey has.
func TestNumberAfterOrdinarySeatings(t *testing.T) {
	study := &capture.Study{Seatings: []capture.Seating{
		{Model: "Model A", Subject: capture.FixtureSubject, Number: 4},
		{Model: "Model A", Subject: capture.FixtureSubject, Number: 114, Survey: &capture.Displacement{}},
		{Model: "Model A", Subject: "L01", Number: 9},
	}}
	if f := freezeOf(report.Results{}, study, capture.Setup{}, nil, fitcorr.Frozen{}); len(f.Models) != 1 || f.Models[0].Highest != 4 {
		t.Errorf("%+v, want the highest number 4", f.Models)
	}
}
