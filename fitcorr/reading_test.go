package fitcorr

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/verdict"
)

// analysed is what earlier calls of analyse left: most tests compare two studies that
// have their surveys in common. TestMemory shows that it makes no difference.
var analysed = newNotes(nil)

func analyse(t *testing.T, ss []seat.Seating) (Analysis, Frozen) {
	t.Helper()
	a, f, err := AnalyseWith(context.Background(), ss, seat.DefaultOptions(), analysed)
	if err != nil {
		t.Fatal(err)
	}
	return a, f
}

// Readings narrow the worn mean's interval, which still holds the truth, bring
// worn positions nearer, and let the mean of both cups at the worn mean be told.
func TestReadingsTellPositions(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	var with, without struct{ mean, seating, width, matches float64 }
	held, means := 0, 0
	for seed := uint64(4); seed < 6; seed++ {
		plan := toy.Small(seed)
		ss, truth := plan.Study()
		a, _ := analyse(t, ss)
		b, _ := analyse(t, toy.Read(ss, truth, seed, 1, 0.5))
		for k, an := range []Analysis{a, b} {
			f := &without
			if k == 1 {
				f = &with
			}
			for _, m := range an.Models {
				if got := slices.Contains(m.Worn.Separation, panel.ByReadings); got != (k == 1) || got != (m.Worn.Readings != nil) {
					t.Errorf("%s: separation %q, readings %v", m.Model, m.Worn.Separation, m.Worn.Readings)
				}
				for axis := range 2 {
					d := m.Worn.Mean.Value[axis] - truth.Mean[m.Model][axis]
					f.mean += d * d
					f.width += m.Worn.Mean.Cov[axis][axis]
					if k == 1 {
						means++
						if math.Abs(d) < 2.3*math.Sqrt(m.Worn.Mean.Cov[axis][axis]) {
							held++
						}
					}
				}
				for _, o := range m.Offsets {
					if o.Subject != capture.FixtureSubject {
						pos := truth.Pos[o.ID]
						d := o.Headset.Value[0] - (pos[0][0]+pos[1][0])/2
						f.seating += d * d
					}
				}
				for _, v := range m.Verdicts {
					if v.Headset.Outcome == verdict.Use {
						f.matches++
					}
				}
			}
		}
	}
	t.Logf("without %+v, with %+v, %d of %d means within their interval", without, with, held, means)
	if with.mean > 0.5*without.mean || with.seating > 0.7*without.seating || with.width > 0.3*without.width || with.matches <= without.matches {
		t.Error("readings do not help")
	}
	if held < means-1 {
		t.Errorf("%d of %d means within their interval", held, means)
	}
}

// A slip of the pen is named and has no say, on a listener as on the fixture.
func TestReadingSlips(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(5)
	plan.Models = 1
	ss, truth := plan.Study()
	ss = toy.Read(ss, truth, 5, 0.5, 0.3)
	clean := slices.Clone(ss)
	var slipped []string
	for _, subject := range []string{capture.FixtureSubject, "L02"} {
		i := slices.IndexFunc(ss, func(s seat.Seating) bool { return s.Model == "Model A" && s.Subject == subject })
		slipped = append(slipped, ss[i].ID)
		wrong := *ss[i].Read
		wrong.ForwardMM = -wrong.ForwardMM
		ss[i].Read, clean[i].Read = &wrong, nil
	}
	a, _ := analyse(t, ss)
	b, _ := analyse(t, clean)
	for _, id := range slipped {
		if !slices.ContainsFunc(a.Models[0].Cannot, func(s string) bool { return strings.Contains(s, id) && strings.Contains(s, "check the entry") }) {
			t.Errorf("%s is not named in %q", id, a.Models[0].Cannot)
		}
	}
	if a.Models[0].Worn.Mean != b.Models[0].Worn.Mean {
		t.Errorf("worn mean %v, without the slips %v", a.Models[0].Worn.Mean.Value, b.Models[0].Worn.Mean.Value)
	}
}

// Readings on listeners alone have nothing to be compared with.
func TestReadingsNeedTheFixture(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(6)
	plan.Models = 1
	ss, truth := plan.Study()
	read := toy.Read(ss, truth, 6, 1, 0.7)
	for i := range read {
		if read[i].Subject == capture.FixtureSubject {
			read[i].Read = nil
		}
	}
	a, _ := analyse(t, ss)
	b, _ := analyse(t, read)
	if a.Models[0].Worn.Mean != b.Models[0].Worn.Mean {
		t.Error("readings without any on the fixture change the worn mean")
	}
	if !slices.ContainsFunc(b.Models[0].Cannot, func(s string) bool { return strings.Contains(s, "read positions are not used") }) {
		t.Errorf("not told: %q", b.Models[0].Cannot)
	}
}

// A lab that states its readings too well is found out by the fixture's.
func TestReadingErrorIsLearned(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(7)
	plan.Models = 1
	ss, truth := plan.Study()
	for _, one := range []float64{0.5, 2.5} {
		a, _ := analyse(t, toy.Read(ss, truth, 7, one, 0.7))
		if got := a.Models[0].Worn.Readings.OneMM; got < 0.75*one || got > 1.33*one {
			t.Errorf("one reading errs by %.2f mm, want about %.1f; 1.0 was stated", got, one)
		}
	}
}

// A check with a reading gives what the run gave; a wrong one is refused.
func TestCheckWithReading(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(8)
	plan.Models = 1
	ss, truth := plan.Study()
	ss = toy.Read(ss, truth, 8, 1, 0.7)
	a, f := analyse(t, ss)
	m := a.Models[0]
	v := m.Verdicts[0]
	i := slices.IndexFunc(ss, func(s seat.Seating) bool { return s.ID == v.ID })
	_, got, err := f.Check(ss[i])
	if err != nil {
		t.Fatal(err)
	}
	for axis := range 2 {
		if d := got.Headset.Off.Value[axis] - v.Headset.Off.Value[axis]; math.Abs(d) > 1e-6 {
			t.Errorf("axis %d: check %g, run %g", axis, got.Headset.Off.Value[axis], v.Headset.Off.Value[axis])
		}
	}
	wrong := ss[i]
	wrong.Read = &capture.Reading{ForwardMM: -wrong.Read.ForwardMM, UpMM: wrong.Read.UpMM}
	if _, _, err := f.Check(wrong); err == nil || !strings.Contains(err.Error(), "read it again") {
		t.Errorf("a wrong reading: %v", err)
	}
}
