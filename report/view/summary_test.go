package view

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/standout"
	"asworn/report"
	"asworn/report/table"
)

// TestStandOutLines: one line per recording, however many of its ears and bands
// stand out.
func TestStandOutLines(t *testing.T) {
	var r report.Results
	for _, o := range []struct {
		id  string
		ear capture.Ear
	}{{"a.wav", capture.Left}, {"a.wav", capture.Right}, {"b.wav", capture.Left}} {
		r.Analysis.StandOuts = append(r.Analysis.StandOuts, fitcorr.StandOut{ID: o.id, Ear: o.ear, Band: standout.Low, Flagged: true, WorstHz: 1000, WorstDB: -3, P: 0.01})
	}
	want := []Line{
		{Text: "a.wav: left ear, low band, most at 1 kHz by −3.0 dB (P 0.010); right ear, low band, most at 1 kHz by −3.0 dB (P 0.010).", Link: "a.wav", Tone: table.Unsure},
		{Text: "b.wav: left ear, low band, most at 1 kHz by −3.0 dB (P 0.010).", Link: "b.wav", Tone: table.Unsure},
	}
	if diff := cmp.Diff(want, New(r).standOutSection().Lines); diff != "" {
		t.Error(diff)
	}
}

// TestUnsureLines: what would tell is said once per model, whatever the rates in
// brackets.
func TestUnsureLines(t *testing.T) {
	var m fitcorr.ModelAnalysis
	m.Model = "Model A"
	for i, settle := range []fitcorr.Remedy{{Do: "more listeners", Gain: "60 %"}, {Do: "more listeners", Gain: "70 %"}, {Do: "a survey"}, {}} {
		v := fitcorr.Verdict{ID: "a.wav", Seating: i + 1, Outcome: fitcorr.Undetermined}
		if settle.Do != "" {
			v.Settle = []fitcorr.Remedy{settle}
		}
		m.Verdicts = append(m.Verdicts, v)
	}
	var r report.Results
	r.Analysis.Models = []fitcorr.ModelAnalysis{m}
	var got []string
	for _, l := range New(r).unsureSection().Lines {
		before, _, _ := strings.Cut(l.Text, ": the data do not tell")
		got = append(got, before)
	}
	want := []string{"Model A, seating 1", "Model A, seating 2", "Model A, seating 3", "Model A, seating 4", "Model A: what would decide: more listeners (60 %), a survey."}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestChangedLines: whoever is not who earlier studies knew stands under a heading of
// its own, before what was rejected, and not among what cannot be decided.
func TestChangedLines(t *testing.T) {
	r := report.Results{Findings: []string{"Bare ears agree"}, PanelChanges: []string{"The bare ears of L01 are not those of L01"},
		Recordings: []report.Recording{{Seating: capture.Seating{File: "a.wav", Row: 2, Subject: "L01", Model: "Model A", Number: 1}}}}
	var titles []string
	for _, s := range New(r).Sections() {
		titles = append(titles, s.Title)
		if s.Title == "Changed since earlier studies: look at these first" {
			want := []Line{{Text: "The bare ears of L01 are not those of L01.", Tone: table.Bad}}
			if diff := cmp.Diff(want, s.Lines); diff != "" {
				t.Error(diff)
			}
		}
	}
	if len(titles) != 3 || titles[0] != "Changed since earlier studies: look at these first" || titles[2] != "About the study as a whole" {
		t.Errorf("%q", titles)
	}
}
