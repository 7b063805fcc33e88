package fitcorr

import (
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
)

// What is no seating of its model at its point is refused by run and check, and
// the survey that explains it is named; what is one is not.
func TestMisfits(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	plan := toy.Small(41)
	plan.Drum = true
	ss, _ := plan.Study()
	a, f := analyse(t, ss)
	if len(a.Misfits) != 0 {
		t.Errorf("rejected of a study without a wrong recording: %v", a.Misfits)
	}
	byID := map[string]seat.Seating{}
	for _, s := range ss {
		byID[s.ID] = s
	}
	at := func(id string, model string, point capture.Point) seat.Seating {
		s := byID[id]
		s.Model, s.Point = model, point
		return s
	}
	flat := byID["Model A/fixture0"]
	flat.Ears[1].LevelDB = make([]float64, len(flat.Ears[1].LevelDB))
	for _, c := range []struct {
		name string
		s    seat.Seating
		why  string
	}{
		{"another model", at("Model A/fixture0", "Model B", capture.Blocked), "it fits Model A at the blocked ear-canal entrance"},
		{"the drum as blocked", at("Model A/drum0", "Model A", capture.Blocked), "it fits Model A at the drum reference point"},
		{"blocked as the drum", at("Model B/fixture0", "Model B", capture.Drum), "it fits Model B at the blocked ear-canal entrance"},
		{"another model at the other point", at("Model B/drum0", "Model A", capture.Blocked), "it fits Model B at the drum reference point"},
		{"an electrical signal", flat, "the right channel is flat within 0.00 dB"},
	} {
		m, bad := f.Misfit(c.s)
		if !bad || !strings.Contains(m.Why, c.why) || m.Mend == "" {
			t.Errorf("%s: rejected %v, %q; want %q", c.name, bad, m.Why, c.why)
		}
	}
	for _, id := range []string{"Model A/fixture0", "Model A/fixture1", "Model A/drum0", "Model B/drum1"} {
		if m, bad := f.Misfit(byID[id]); bad {
			t.Errorf("%s is rejected: %s", id, m.Why)
		}
		if got := f.PointOf(byID[id]); got != byID[id].Point {
			t.Errorf("%s: taken for a recording at the %s point", id, got)
		}
	}

	// In a run: the wrong row is in nothing but the list of misfits.
	wrong := append([]seat.Seating(nil), ss...)
	for i := range wrong {
		if wrong[i].ID == "Model B/fixture0" {
			wrong[i].Ears = byID["Model A/fixture0"].Ears
		}
	}
	b, _ := analyse(t, wrong)
	if len(b.Misfits) != 1 || b.Misfits[0].ID != "Model B/fixture0" {
		t.Fatalf("misfits %v", b.Misfits)
	}
	m := b.Models[1]
	for _, o := range m.Offsets {
		if o.ID == "Model B/fixture0" {
			t.Error("a misfit has an offset")
		}
	}
	for _, c := range m.Curves {
		for _, member := range c.Members {
			if member.ID == "Model B/fixture0" {
				t.Error("a misfit is in a curve")
			}
		}
	}
}

// Recordings of which an ear is wired to a loopback are refused, and the others go on.
func TestElectricalEar(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	ss, _ := toy.Small(42).Study()
	for i := range ss {
		if ss[i].Model == "Model A" {
			ss[i].Ears[1].LevelDB = make([]float64, len(ss[i].Ears[1].LevelDB))
		}
	}
	a, _ := analyse(t, ss)
	if len(a.Models) != 1 || a.Models[0].Model != "Model B" || a.Models[0].Survey[1] == nil {
		t.Errorf("models left: %+v", a.Models)
	}
	count := 0
	for _, s := range ss {
		if s.Model == "Model A" {
			count++
		}
	}
	if len(a.Misfits) != count || !strings.Contains(a.Misfits[0].Why, "the right channel is flat within 0.00 dB") {
		t.Errorf("%d of %d rejected, %+v", len(a.Misfits), count, a.Misfits[:1])
	}
}
