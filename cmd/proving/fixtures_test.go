package main

import (
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
	"asworn/fitcorr"
	"asworn/fitcorr/between"
)

// Two fixtures with one and the same ear, on one of which the headphone always sat
// 5 mm off: position explains most of what was measured, and what is left is within its interval.
func TestPositionExplains(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	var measured, final float64
	studies := 0
	for seed := range uint64(3) {
		diffs := twoFixtures(t, 11+seed)
		if len(diffs) > 0 { // else readings could not settle that the first sits as worn
			studies++
		}
		for _, d := range diffs {
			t.Logf("%d: %s, %s ear: measured %.2f dB, final %.2f dB, explained %.0f %%, %d of %d apart", seed, d.Point, d.Ear, d.MeasuredRMS, d.FinalRMS, 100*d.Explained, d.Apart, d.Compared)
			measured, final = measured+d.MeasuredRMS*d.MeasuredRMS, final+d.FinalRMS*d.FinalRMS
			if d.Apart > 0 {
				t.Errorf("%s, %s ear: %d thirds are called apart, and the ear is the same", d.Point, d.Ear, d.Apart)
			}
		}
	}
	if studies == 0 {
		t.Fatal("nothing to compare: no seating is used")
	}
	if explained := 1 - final/measured; explained < 0.5 {
		t.Errorf("position explains %.0f %% of what was measured", 100*explained)
	}
}

func twoFixtures(t *testing.T, seed uint64) []between.Difference {
	t.Helper()
	d := simulate.BarDesign()
	d.Closed, d.Open, d.Seatings, d.SurveySize, d.SurveyLeaks, d.Readings = 1, 0, 3, 13, 1, true
	d.ReadingsEach, d.Readers, d.AllReadAll = 4, 2, true
	d.LandmarkSD, d.FixtureLandmarkSD = 0.4, 0.2 // entrances found several times
	d.FixtureSeatings, d.FixtureOffsetsMM = 6, []float64{0, 5, 0, 5, 0, 5}
	drawn := simulate.Draw(seed, d, piston.World)
	all, err := drawn.Seatings(t.Context(), seed, 1)
	if err != nil {
		t.Fatal(err)
	}
	opt := fitcorr.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: d.ReadSD, LandmarkMM: d.LandmarkSD, FixtureLandmarkMM: d.FixtureLandmarkSD}
	all, opt.Reading = combine(all, drawn.Readings, opt)
	of := func(name string, odd int) between.Fixture {
		f := between.Fixture{Name: name, Coupler: "IEC 60318-4"}
		var ss []fitcorr.Seating
		for _, s := range all {
			ordinary := s.OrdinaryOnFixture()
			if ordinary && s.Number%2 != odd {
				continue
			}
			ss = append(ss, s)
			if ordinary {
				f.Seatings = append(f.Seatings, s)
			}
		}
		a, _, err := fitcorr.Analyse(t.Context(), ss, opt)
		if err != nil {
			t.Fatal(err)
		}
		f.Curves, f.Sensitivity = a.Models[0].Curves, a.Models[0].Sensitivity
		return f
	}
	return between.Compare(of("old", 1), of("new", 0), 0.95)
}
