package pipeline

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/compare"
	"asworn/capture/study"
	"asworn/cmd/internal/convert"
	"asworn/fitcorr"
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
		s.frozen.Traits = append(s.frozen.Traits, compare.TraitsOf(capture.Setup{}, recording(0.6)))
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

// TestCalibrationReachesTheBudget: what study.toml says of the calibration is a
// row of a final curve's budget.
func TestCalibrationReachesTheBudget(t *testing.T) {
	study := study.Default()
	study.CalibrationDB = 0.3
	var ss []fitcorr.Seating
	for n := 1; n <= 3; n++ {
		s := fitcorr.Seating{ID: fmt.Sprint(n), Model: "Model A", Subject: capture.FixtureSubject, Point: capture.Drum, Number: n}
		for e := range s.Ears {
			s.Ears[e] = fitcorr.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: slices.Repeat([]bool{true}, band.Count)}
			for b := range s.Ears[e].LevelDB {
				s.Ears[e].LevelDB[b] = 6 * math.Sin(float64(b)/20) // a flat one would be electrical
			}
		}
		ss = append(ss, s)
	}
	a, _, err := fitcorr.Analyse(t.Context(), ss, convert.Options(&study, convert.Readings(&study), 1))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range a.Models[0].Curves[0].Budget {
		if r.Source == "level calibration" && r.StdDB[15] == 0.3 && r.Type == "B" {
			return
		}
	}
	t.Errorf("no 0.3 dB of calibration in %+v", a.Models[0].Curves[0].Budget)
}

// TestNumberAfterOrdinarySeatings numbers a new seating after the ordinary ones
// of the fixture, whatever numbers a survey has.
func TestNumberAfterOrdinarySeatings(t *testing.T) {
	rows := []capture.Seating{
		{Model: "Model A", Subject: capture.FixtureSubject, Number: 4},
		{Model: "Model A", Subject: capture.FixtureSubject, Number: 114, Survey: &capture.Displacement{}},
		{Model: "Model A", Subject: "L01", Number: 9},
	}
	if m := frozenModels(rows); len(m) != 1 || m[0].Highest != 4 {
		t.Errorf("%+v, want the highest number 4", m)
	}
}
