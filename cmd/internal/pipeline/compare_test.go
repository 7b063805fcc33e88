package pipeline

import (
	"slices"
	"testing"

	"asworn/capture/finding"
	"asworn/cmd/internal/simulate/demo"
)

// TestFaultsOfTheDemo finds every fault that the demo study holds on purpose, in
// its own recording, and nothing in the others.
func TestFaultsOfTheDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	_, truth, r := wholeDemo(t)
	codes := map[string]finding.Code{
		demo.FaultCough: finding.RepeatDropped, demo.FaultClipped: finding.Clipping, demo.FaultSwapped: finding.ChannelsSwapped,
		demo.FaultHum: finding.MainsHum, demo.FaultClock: finding.Drift,
	}
	faults := map[string][]string{}
	for _, s := range truth.Seatings {
		faults[s.File] = s.Faults
	}
	seen := map[string]int{}
	for _, rec := range r.Recordings {
		var want []finding.Code
		for _, f := range faults[rec.File] {
			if c, ok := codes[f]; ok {
				want = append(want, c)
				seen[f]++
			}
		}
		var got []finding.Code
		for _, f := range rec.Findings {
			if !slices.Contains(got, f.Code) {
				got = append(got, f.Code)
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s holds %v: found %v, want %v", rec.File, faults[rec.File], rec.Findings, want)
		}
	}
	for f := range codes {
		if seen[f] == 0 {
			t.Errorf("no recording of the demo holds %q", f)
		}
	}
}
