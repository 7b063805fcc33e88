package between

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
)

func flat(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

func all(n int) []bool {
	out := make([]bool, n)
	for i := range out {
		out[i] = true
	}
	return out
}

// fixture has seatings at measured dB and a final curve at final dB with a
// standard uncertainty of sd.
func fixture(name string, measured, final, sd float64) Fixture {
	f := Fixture{Name: name, Coupler: "IEC 60318-4", ReferenceDB: flat(band.Count, 1)}
	for n := range 3 {
		s := seat.Seating{Model: "Model A", Subject: capture.FixtureSubject, Point: capture.Blocked, Number: n + 1}
		for e := range s.Ears {
			s.Ears[e] = seat.Curve{LevelDB: flat(band.Count, measured+float64(n-1)), Valid: all(band.Count)}
		}
		f.Seatings = append(f.Seatings, s)
	}
	f.Curves = []correct.FinalCurve{{Point: capture.Blocked, Ear: capture.Left, LevelDB: flat(band.Count, final), Valid: all(band.Count),
		Budget: []correct.BudgetRow{{Source: "combined", StdDB: flat(band.Thirds, sd), DF: flat(band.Thirds, 0)}}}}
	f.Sensitivity = []sensitivity.Sensitivity{{Point: capture.Blocked, Ear: capture.Left, BiasDB: flat(band.Thirds, 2), BiasSE: flat(band.Thirds, 0.3), BiasDF: flat(band.Thirds, 0)}}
	return f
}

// TestCompare: differences, their interval and what position explains, in closed form.
func TestCompare(t *testing.T) {
	a, b := fixture("old", 10, 8, 0.3), fixture("new", 6, 7, 0.4)
	b.ReferenceDB = flat(band.Count, 3)
	got := Compare(a, b, 0.95)
	if len(got) != 1 {
		t.Fatalf("%d differences", len(got))
	}
	d := got[0]
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	near("measured", d.MeasuredDB[10], 4)
	near("final", d.FinalDB[10], 1)
	near("half", d.HalfDB[10], 1.959963984540054*0.5)
	near("compensated", d.CompensatedDB[10], 1-1+3)
	near("measured RMS", d.MeasuredRMS, 4)
	near("explained", d.Explained, 1-1./16)
	if !d.Alike || d.Compared != 24 || d.Apart != 0 { // 2 standard uncertainties are no news among 24
		t.Errorf("%+v", d)
	}
	b.Coupler = ""
	b.Curves[0].LevelDB = flat(band.Count, 5)
	if d := Compare(a, b, 0.95)[0]; d.Alike || d.Apart != d.Compared {
		t.Errorf("3 dB at 0.5 dB: %d of %d apart, alike %v", d.Apart, d.Compared, d.Alike)
	}
	b.Curves[0].Valid[8*10+3] = false
	if d := Compare(a, b, 0.95)[0]; d.Valid[10] || !d.Valid[9] || d.FinalDB[10] != 0 {
		t.Error("a third with a band that does not count is compared")
	}
	b.ReferenceDB = nil
	if d := Compare(a, b, 0.95)[0]; d.CompensatedDB != nil || d.CompensatedRMS != 0 {
		t.Errorf("the reference of one fixture is carried to the other: %.1f dB", d.CompensatedRMS)
	}
	b.Curves[0].Ear = capture.Right
	if got := Compare(a, b, 0.95); len(got) != 0 {
		t.Error("left is compared with right")
	}
}

// TestPeople: the fixture's bias, moved by what correction did to its curve.
func TestPeople(t *testing.T) {
	got := People(fixture("old", 10, 8.5, 0.4), 0.95)
	if len(got) != 1 || math.Abs(got[0].LeftDB[5]-0.5) > 1e-9 || math.Abs(got[0].BiasRMS-2) > 1e-9 || math.Abs(got[0].LeftRMS-0.5) > 1e-9 {
		t.Fatalf("%+v", got)
	}
	if half := 1.959963984540054 * 0.5; math.Abs(got[0].HalfDB[5]-half) > 1e-9 {
		t.Errorf("half %g, want %g", got[0].HalfDB[5], half)
	}
}

// Where no seating sits as worn, what was measured is told, and nothing of what is left.
func TestMeasuredOnly(t *testing.T) {
	a, b := fixture("old", 10, 8, 0.3), fixture("new", 6, 7, 0.4)
	b.Curves[0].LevelDB, b.Curves[0].Budget = nil, nil
	d := Compare(a, b, 0.95)
	if len(d) != 1 || d[0].FinalDB != nil || d[0].HalfDB != nil || d[0].CompensatedDB != nil || math.Abs(d[0].MeasuredRMS-4) > 1e-9 || d[0].Explained != 0 || d[0].Compared != 0 {
		t.Errorf("%+v", d)
	}
	p := People(b, 0.95)
	if len(p) != 1 || p[0].LeftDB != nil || p[0].HalfDB != nil || math.Abs(p[0].BiasRMS-2) > 1e-9 || p[0].LeftRMS != 0 {
		t.Errorf("%+v", p)
	}
	a.Seatings = nil
	if d := Compare(a, b, 0.95); d != nil {
		t.Errorf("nothing was measured, and yet %+v", d)
	}
}
