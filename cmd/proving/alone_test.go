package main

import (
	"bytes"
	"strings"
	"testing"
)

// Readings and sound together know where a seating sits against the panel's mean no worse
// than either alone, by what is stated and, over all seatings, by what is true.
func TestBothNoWorse(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	var readings, both float64 // sums of squared errors
	for _, study := range []struct {
		generator, name string
		seed            uint64
	}{{"a", "read", barSeed("a", "read")}, {"b", "read-4", 3301}, {"d", "read", barSeed("d", "read")}} {
		g, name := study.generator, study.name
		c := named(name)
		c.design.Laws = generators[g].laws
		of, err := tellApart(t.Context(), c, generators[g].world, study.seed, proved)
		if err != nil {
			t.Fatal(err)
		}
		var stated [len(sourceNames)]float64
		for k := range of {
			ds := of[k].at[headsetApart]
			if len(ds) < 20 {
				t.Fatalf("%s, %s: %d differences", name, sourceNames[k], len(ds))
			}
			for _, d := range ds {
				stated[k] += d.sd * d.sd / float64(len(ds))
			}
		}
		if stated[2] > 1.02*min(stated[0], stated[1]) {
			t.Errorf("generator %s, %s: variances of %s, %s and %s: %.2f mm²", g, name, sourceNames[0], sourceNames[1], sourceNames[2], stated)
		}
		for _, d := range of[0].at[headsetApart] {
			readings += d.err * d.err
		}
		for _, d := range of[2].at[headsetApart] {
			both += d.err * d.err
		}
	}
	if both > readings {
		t.Errorf("squared errors sum to %.1f mm² with sound and readings, to %.1f by readings alone", both, readings)
	}
}

// The table has a row per source and estimate, and counts verdicts.
func TestAnswersRow(t *testing.T) {
	var a answers
	a.at[headsetApart] = []difference{{0.5, 1, 0}, {-2.5, 1, 8}}
	a.at[cupApart] = []difference{{1, 1, 0}}
	a.verdicts = []verdictTrial{{distance: 0, outcome: "use"}, {distance: 6, outcome: "use"}, {distance: 6, outcome: "move"}}
	var b bytes.Buffer
	a.row(&b, "a, read", "both")
	want := `| a, read | both | cup less panel's mean | 1.00 | 1.00 | 1.00 | +Inf | 100 | | | |
| a, read | both | headset less panel's mean | 1.80 | 1.00 | 1.80 | 8.0 | 50 | 1 of 1 | 1 of 2 | 1 of 3 |
`
	if got := b.String(); got != strings.ReplaceAll(want, "+Inf", "many") {
		t.Errorf("got\n%s", got)
	}
}
