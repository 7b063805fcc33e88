package view

import (
	"testing"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report"
)

func TestNeedsOperator(t *testing.T) {
	good := func() report.Results {
		v := fitcorr.Verdict{ID: "a.wav", Outcome: fitcorr.Use}
		return report.Results{
			Recordings: []report.Recording{{Seating: capture.Seating{File: "a.wav", Model: "A", Subject: capture.FixtureSubject}, Usable: true}},
			Analysis: fitcorr.Analysis{
				Models:    []fitcorr.ModelAnalysis{{Model: "A", Verdicts: []fitcorr.Verdict{v}}},
				StandOuts: []fitcorr.StandOut{{ID: "a.wav"}},
			},
		}
	}
	for _, c := range []struct {
		name   string
		change func(*report.Results)
		want   bool
	}{
		{"all is well", func(*report.Results) {}, false},
		{"rejected", func(r *report.Results) { r.Recordings[0].Usable = false }, true},
		{"to be moved", func(r *report.Results) { r.Analysis.Models[0].Verdicts[0].Outcome = fitcorr.Move }, true},
		{"undetermined", func(r *report.Results) { r.Analysis.Models[0].Verdicts[0].Outcome = fitcorr.Undetermined }, true},
		{"outlier", func(r *report.Results) { r.Analysis.StandOuts[0].Flagged = true }, true},
	} {
		r := good()
		c.change(&r)
		if got := New(r).NeedsOperator(); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
