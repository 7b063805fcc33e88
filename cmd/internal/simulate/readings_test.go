package simulate

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"asworn/capture"
)

// Readings are added to the rows and change nothing else that is true.
func TestReadingsChangeNothingElse(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Seatings, d.SurveySize, d.DisplacedListeners = 3, 2, 3, 1
	plain := Draw(7, d, silent)
	d.Readings = true
	s := Draw(7, d, silent)
	if diff := cmp.Diff(plain.Rows, s.Rows, cmpopts.IgnoreFields(capture.Seating{}, "Read")); diff != "" {
		t.Error("rows differ:", diff)
	}
	if diff := cmp.Diff(plain.Worn, s.Worn); diff != "" {
		t.Error("worn truth differs:", diff)
	}
}

// Every headphone is read, and both points of a fixture seating alike, in half
// millimetres; the bare ear is not.
func TestReadingsOfRows(t *testing.T) {
	d := BarDesign()
	d.Readings, d.DisplacedListeners = true, 1
	s := Draw(3, d, silent)
	for i, r := range s.Rows {
		switch {
		case r.ModelIndex < 0:
			if r.Read != nil {
				t.Errorf("row %d: a bare ear was read: %v", r.Row, *r.Read)
			}
			continue
		case r.Read == nil:
			t.Errorf("row %d: not read", r.Row)
			continue
		case r.Point == capture.Drum && *r.Read != *s.Rows[i-1].Read:
			t.Errorf("row %d: read %v at the drum point, %v at the blocked one", r.Row, *r.Read, *s.Rows[i-1].Read)
		}
		for _, v := range []float64{r.Read.ForwardMM, r.Read.UpMM} {
			if v*2 != math.Trunc(v*2) || math.Abs(v) > 120 {
				t.Errorf("row %d: read %v", r.Row, *r.Read)
			}
		}
	}
}

// The errors of readings have the standard deviations of the design: those of
// one reading from what two readings on a head differ by, those of the
// landmark from what is common to a head over two models.
func TestReadingErrors(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Seatings, d.Closed, d.Open, d.SurveySize, d.FixtureSeatings, d.BareEar = 3000, 2, 1, 1, 0, 0, false
	d.Readings, d.ReadSD, d.LandmarkSD = true, 1.3, 0.9
	s := Draw(1, d, func(uint64, Design, []bool) Acoustics { return nil })
	// error of each reading, the model's constant still in it
	off := make([][][][2]float64, 2)
	for m := range off {
		off[m] = make([][][2]float64, d.Listeners)
	}
	for _, r := range s.Rows {
		h := r.Headset()
		off[r.ModelIndex][r.SubjectIndex] = append(off[r.ModelIndex][r.SubjectIndex],
			[2]float64{r.Read.ForwardMM - h[0], r.Read.UpMM - h[1]})
	}
	n := float64(d.Listeners)
	for a := range 2 {
		var one, mean0, mean1, common float64
		for i := range d.Listeners {
			for m := range off {
				e := off[m][i][0][a] - off[m][i][1][a]
				one += e * e / 4 / n
			}
			mean0 += (off[0][i][0][a] + off[0][i][1][a]) / 2 / n
			mean1 += (off[1][i][0][a] + off[1][i][1][a]) / 2 / n
		}
		for i := range d.Listeners {
			x := (off[0][i][0][a]+off[0][i][1][a])/2 - mean0
			y := (off[1][i][0][a]+off[1][i][1][a])/2 - mean1
			common += x * y / n
		}
		// Writing down half millimetres adds step²/12.
		want := math.Sqrt(d.ReadSD*d.ReadSD + readStepMM*readStepMM/12)
		if got := math.Sqrt(one); math.Abs(got/want-1) > 0.04 {
			t.Errorf("axis %d: SD of one reading %.3f, want %.3f", a, got, want)
		}
		if got := math.Sqrt(common); math.Abs(got/d.LandmarkSD-1) > 0.08 {
			t.Errorf("axis %d: SD of the landmark %.3f, want %.3f", a, got, d.LandmarkSD)
		}
	}
}

// The fixture has a landmark error of its own, one per study and the same for
// every model. The standard deviation over many studies is that of the design.
func TestReadingsOnFixture(t *testing.T) {
	d := BarDesign()
	d.Listeners, d.Closed, d.Open, d.SurveySize, d.FixtureSeatings, d.BareEar = 0, 1, 1, 0, 1, false
	d.FixtureOffsetsMM, d.Readings, d.ReadSD, d.FixtureLandmarkSD = nil, true, 0, 4
	// A landmark of no error and the same stream tell the models' points.
	exact := d
	exact.FixtureLandmarkSD = 0
	none := func(uint64, Design, []bool) Acoustics { return nil }
	const n = 1500
	var square [2]float64
	for seed := range uint64(n) {
		s, exactly := Draw(seed, d, none), Draw(seed, exact, none)
		var e [2][2]float64 // per model
		for i, r := range s.Rows {
			e[r.ModelIndex] = [2]float64{r.Read.ForwardMM - exactly.Rows[i].Read.ForwardMM, r.Read.UpMM - exactly.Rows[i].Read.UpMM}
		}
		for a := range 2 {
			if math.Abs(e[0][a]-e[1][a]) > 2*readStepMM {
				t.Fatalf("seed %d: the landmark moves model A by %v and model B by %v", seed, e[0], e[1])
			}
			square[a] += e[0][a] * e[0][a] / n
		}
	}
	for a := range square {
		if got := math.Sqrt(square[a]); math.Abs(got/d.FixtureLandmarkSD-1) > 0.06 {
			t.Errorf("axis %d: SD of the fixture's landmark %.2f, want %g", a, got, d.FixtureLandmarkSD)
		}
	}
}
