package report

import (
	"testing"

	"asworn/capture"
	"asworn/fitcorr"
)

func TestNeedsOperator(t *testing.T) {
	good := func() Results {
		v := fitcorr.Verdict{ID: "a.wav", Outcome: fitcorr.Matches}
		return Results{
			Recordings: []Recording{{Seating: capture.Seating{File: "a.wav", Model: "A", Subject: capture.FixtureSubject}, Usable: true}},
			Analysis: fitcorr.Analysis{
				Models:    []fitcorr.ModelAnalysis{{Model: "A", Verdicts: []fitcorr.Verdict{v}}},
				StandOuts: []fitcorr.StandOut{{ID: "a.wav"}},
			},
		}
	}
	for _, c := range []struct {
		name   string
		change func(*Results)
		want   bool
	}{
		{"all is well", func(*Results) {}, false},
		{"refused", func(r *Results) { r.Recordings[0].Usable = false }, true},
		{"to be moved", func(r *Results) { r.Analysis.Models[0].Verdicts[0].Outcome = fitcorr.Adjust }, true},
		{"undetermined", func(r *Results) { r.Analysis.Models[0].Verdicts[0].Outcome = fitcorr.Undetermined }, true},
		{"stands out", func(r *Results) { r.Analysis.StandOuts[0].Flagged = true }, true},
	} {
		r := good()
		c.change(&r)
		if got := NeedsOperator(r); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
