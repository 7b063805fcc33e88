package main

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/stats"
)

// The interval of a panel's leak holds where leaks belong to listeners: given what each
// ear truly loses, as to who happens to be on the panel. Studies are drawn and not heard, so that
// there can be many; the few of the table cannot tell 62 from 95 %.
func TestPanelLeakAsToWho(t *testing.T) {
	if testing.Short() {
		t.Skip("draws hundreds of studies")
	}
	t.Parallel()
	const studies, seed = 200, 510_000
	for _, c := range conditions() {
		if c.name != "read-leaks" {
			continue
		}
		for name, g := range generators {
			if name == "c" {
				continue // finite elements: slow, and the others differ as much
			}
			c.design.Laws = g.laws
			covered := 0
			for k := range studies {
				if panelLeakHolds(simulate.Draw(seed+uint64(k), c.design, g.world)) {
					covered++
				}
			}
			share := float64(covered) / studies
			t.Logf("generator %s: covered in %.3f of %d panels", name, share, studies)
			if share < 0.92-2.6*math.Sqrt(0.92*0.08/studies) {
				t.Errorf("generator %s: covered in %.3f of %d panels, at least 0.92 is asked for", name, share, studies)
			}
		}
	}
}

// panelLeakHolds reports whether the interval of the first closed model's leak at 50 Hz at
// the left ear holds the mean of everybody who might have been on the panel.
func panelLeakHolds(s *simulate.Study) bool {
	const model, fifty = 0, 1 // closed models come first; losses at 20, 50 and 100 Hz
	var who []string
	var leaks []seal.Leak
	for _, r := range s.Rows {
		if r.ModelIndex == model && r.Worn() {
			who = append(who, r.Subject)
			leaks = append(leaks, seal.Leak{Class: seal.Sealed, LossDB: s.World.Seal(model, r.SubjectIndex, capture.Left, r.True[capture.Left]).LossDB})
		}
	}
	p := seal.OfPanel(who, leaks)
	return math.Abs(p.MeanDB[fifty]-s.PeopleLossDB(model, capture.Left)) <= stats.StudentQuantile(0.975, p.DF)*p.SE[fifty]
}
