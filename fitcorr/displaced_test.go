package fitcorr

import (
	"context"
	"os"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/seat"
)

// A panel model whose listeners were displaced tells positions with the mean of
// the fixture's and the listeners' slopes.
func TestDisplacedListeners(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	plan := toy.Small(3)
	plan.Models, plan.Displaced = 1, 2
	ss, _ := plan.Study()
	a, _ := analyse(t, ss)
	for _, m := range a.Models {
		if !slices.Contains(m.Worn.Separation, panel.ByDisplacedListeners) {
			t.Errorf("%s: separation %q does not name the displaced listeners", m.Model, m.Worn.Separation)
		}
	}
	plain := slices.DeleteFunc(slices.Clone(ss), func(s seat.Seating) bool { return s.Subject != capture.FixtureSubject && s.Survey != nil })
	b, _ := analyse(t, plain)
	if b.Models[0].Worn.Mean == a.Models[0].Worn.Mean {
		t.Error("displaced listeners change nothing")
	}
	if got, want := a.Models[0].Worn.Seatings, b.Models[0].Worn.Seatings; got != want {
		t.Errorf("%d worn seatings, want %d: a displaced seating is not how a listener wears it", got, want)
	}
}

// What the displaced listeners buy, on toy studies without a bare-ear
// reference: ASWORN_LONG.
func TestDisplacedListenersGain(t *testing.T) {
	if os.Getenv("ASWORN_LONG") == "" {
		t.Skip("long")
	}
	for _, k := range []int{0, 2, 8} {
		var s toySummary
		for seed := range uint64(8) {
			plan := toy.Default(seed + 40)
			plan.Bare, plan.Displaced = false, k
			ss, truth := plan.Study()
			a, _, err := Analyse(context.Background(), ss, seat.DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			s.addStudy(a, truth)
		}
		t.Logf("%d displaced: worn %v mean %v", k, &s.worn, &s.mean)
	}
}
