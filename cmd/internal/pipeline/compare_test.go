package pipeline

import (
	"context"
	"path/filepath"
	"slices"
	"testing"

	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/simulate/demo"
)

// TestFaultsOfTheDemo finds every fault that a demo study holds on purpose, in
// its own recording, and nothing in the others.
func TestFaultsOfTheDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	dir := filepath.Join(t.TempDir(), "demo")
	truth, err := demo.Write(context.Background(), dir, demo.Options{Listeners: 3, Seatings: 4, SurveySize: -1})
	if err != nil {
		t.Fatal(err)
	}
	study, err := study.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	setup, err := study.Setup()
	if err != nil {
		t.Fatal(err)
	}
	l, err := openLine(dir, [32]byte{}, setup, Options{Jobs: 2})
	if err != nil {
		t.Fatal(err)
	}
	responses, err := l.responder.All(context.Background(), study.Seatings)
	if err != nil {
		t.Fatal(err)
	}
	compareAll(setup, study.Seatings, responses)
	codes := map[string]finding.Code{
		demo.FaultCough: finding.RepeatDropped, demo.FaultClipped: finding.Clipping, demo.FaultSwapped: finding.ChannelsSwapped,
		demo.FaultHum: finding.MainsHum, demo.FaultClock: finding.Drift,
	}
	faults := map[string][]string{}
	for _, s := range truth.Seatings {
		faults[s.File] = s.Faults
	}
	seen := map[string]int{}
	for i, row := range study.Seatings {
		var want []finding.Code
		for _, f := range faults[row.File] {
			if c, ok := codes[f]; ok {
				want = append(want, c)
				seen[f]++
			}
		}
		var got []finding.Code
		for _, f := range responses[i].Recording.Quality.Findings {
			if !slices.Contains(got, f.Code) {
				got = append(got, f.Code)
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s holds %v: found %v, want %v", row.File, faults[row.File], responses[i].Recording.Quality.Findings, want)
		}
	}
	for f := range codes {
		if seen[f] == 0 {
			t.Errorf("no recording of the demo holds %q", f)
		}
	}
}
