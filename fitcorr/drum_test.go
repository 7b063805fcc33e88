package fitcorr

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Fixture seatings at the drum without any blocked partner are placed by the
// drum's survey, judged against where the panel wears the model at the blocked
// entrance, corrected and averaged, and a check gives what the run gave. The
// blocked seatings keep what they had without the drum's rows, but for what these tell of
// how far the cups lie apart.
func TestDrumSeatings(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(31)
	plan.Models = 1
	alone, _ := plan.Study()
	plan.Drum, plan.Mark = true, [3]float64{0.6, -0.4, 0}
	ss, truth := plan.Study()
	before, _ := analyse(t, alone)
	a, f := analyse(t, ss)
	m := a.Models[0]
	points := map[string]capture.Point{}
	for _, s := range ss {
		points[s.ID] = s.Point
	}
	offsets := map[string]Offset{}
	for _, o := range m.Offsets {
		offsets[o.ID] = o
	}
	for _, o := range before.Models[0].Offsets {
		// Rows at the drum tell how far the cups lie apart on the fixture, and nothing else.
		with := offsets[o.ID].Headset
		for a := range 2 {
			if sd := math.Sqrt(o.Headset.Cov[a][a]); math.Abs(with.Value[a]-o.Headset.Value[a]) > sd/3 || math.Sqrt(with.Cov[a][a]) > 1.05*sd {
				t.Errorf("%s: %.2f mm with drum rows, %.2f without, standard deviation %.2f and %.2f", o.ID, with.Value, o.Headset.Value, math.Sqrt(with.Cov[a][a]), sd)
			}
		}
	}
	verdicts := map[string]Verdict{}
	for _, v := range m.Verdicts {
		verdicts[v.ID] = v
	}
	n := 0
	for _, s := range ss {
		if s.Point != capture.Drum || s.Displaced() {
			continue
		}
		n++
		o, ok := offsets[s.ID]
		v, judged := verdicts[s.ID]
		if !ok || !judged {
			t.Fatalf("%s: offset %v, verdict %v", s.ID, ok, judged)
		}
		for a := range 2 {
			d := o.Headset.Value[a] - (truth.Pos[s.ID][0][a]+truth.Pos[s.ID][1][a])/2
			if sd := math.Sqrt(o.Headset.Cov[a][a]); math.Abs(d) > stats.Coverage(0.999, o.Headset.DF)*sd || sd < seat.DefaultMarkMM {
				t.Errorf("%s axis %d: %.2f mm off, standard deviation %.2f", s.ID, a, d, sd)
			}
		}
		at, got, err := f.Check(s)
		if err != nil {
			t.Fatal(err)
		}
		if got.Outcome != v.Outcome || math.Abs(at.Headset.Value[0]-o.Headset.Value[0]) > 1e-6 {
			t.Errorf("%s: check says %s at %v, run %s at %v", s.ID, got.Outcome, at.Headset.Value, v.Outcome, o.Headset.Value)
		}
	}
	if n != 6 || m.DrumSurvey == nil || m.DrumSurvey[0].Displacements != 15 {
		t.Fatalf("%d seatings at the drum, survey %v", n, m.DrumSurvey)
	}
	corrections, curves := 0, 0
	for _, c := range m.Corrections {
		if c.Point == capture.Drum && c.PredictedDB != nil {
			corrections++
		}
	}
	for _, c := range m.Curves {
		if c.Point == capture.Drum && len(c.Members) == 6 {
			curves++
		}
	}
	if corrections != 12 || curves != 2 {
		t.Errorf("%d corrections and %d curves of six seatings at the drum, want 12 and 2", corrections, curves)
	}
}

// A drum row whose number a blocked row has is the same placement: it is placed
// by that one, with or without a survey at the drum.
func TestEqualNumbersAreOnePlacement(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(31) // as TestDrumSeatings has it
	plan.Models, plan.Drum = 1, true
	ss, _ := plan.Study()
	for i := range ss {
		if s := &ss[i]; s.Point == capture.Drum && !s.Displaced() {
			s.Number -= 20 // as the blocked ones are numbered
		}
	}
	a, _ := analyse(t, ss)
	for _, o := range a.Models[0].Offsets {
		for _, s := range ss {
			if s.ID == o.ID && s.Point == capture.Drum && !s.Displaced() {
				t.Errorf("%s is placed twice", o.ID)
			}
		}
	}
	corrected := 0
	for _, c := range a.Models[0].Corrections {
		if c.Point == capture.Drum {
			corrected++
		}
	}
	if corrected != 12 {
		t.Errorf("%d corrections at the drum, want 12", corrected)
	}
}
