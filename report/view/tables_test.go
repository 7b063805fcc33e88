package view

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/clipperhouse/displaywidth"
	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/internal/sample"
	"asworn/report/judged"
	"asworn/report/table"
)

func TestTablesFit(t *testing.T) {
	r := sample.Results()
	for width := 40; width <= 120; width += 5 {
		var b bytes.Buffer
		if err := table.WriteAll(&b, New(r).Tables().Brief(), table.Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		if err := New(r).WriteSummary(&b, table.Options{Width: width}); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(b.String()) {
			if n := displaywidth.String(strings.TrimRight(line, "\n")); n > width {
				t.Errorf("width %d: line of %d: %s", width, n, line)
			}
		}
	}
}

// TestTablesLoseNothing proves that a narrow terminal cuts and wraps but drops
// no cell: every word of every cell is in the text.
func TestTablesLoseNothing(t *testing.T) {
	for _, tab := range New(sample.Results()).Tables().All() {
		for _, width := range []int{40, 63, 100} {
			var b bytes.Buffer
			if err := tab.WriteText(&b, table.Options{Width: width}); err != nil {
				t.Fatal(err)
			}
			letters := func(s string) map[rune]int {
				m := map[rune]int{}
				for _, c := range s {
					m[c]++
				}
				return m
			}
			got, want := letters(b.String()), map[rune]int{}
			for _, row := range tab.Rows {
				for _, c := range row {
					for k, n := range letters(c.Text) {
						want[k] += n
					}
				}
			}
			for k, n := range want {
				if k != ' ' && got[k] < n {
					t.Errorf("%s at %d: %q %d times, want at least %d", tab.Name, width, k, got[k], n)
				}
			}
		}
	}
}

func TestColorCarriesNothing(t *testing.T) {
	r := sample.Results()
	var plain, color bytes.Buffer
	if err := table.WriteAll(&plain, New(r).Tables().Brief(), table.Options{Width: 90}); err != nil {
		t.Fatal(err)
	}
	if err := table.WriteAll(&color, New(r).Tables().Brief(), table.Options{Width: 90, Color: true}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(color.String(), "\x1b[") || strings.Contains(plain.String(), "\x1b") {
		t.Fatal("colour only when asked for")
	}
	s := color.String()
	for _, code := range []string{"0", "32", "36", "1;33", "1;31"} {
		s = strings.ReplaceAll(s, "\x1b["+code+"m", "")
	}
	trimmed := func(s string) string { // what pads a cell is not coloured
		var b strings.Builder
		for line := range strings.Lines(s) {
			b.WriteString(strings.TrimRight(line, " \n") + "\n")
		}
		return b.String()
	}
	if diff := cmp.Diff(trimmed(plain.String()), trimmed(s)); diff != "" {
		t.Error(diff)
	}
}

// TestCSVMatches reads each CSV back and compares its numbers with the cells.
func TestCSVMatches(t *testing.T) {
	for _, tab := range New(sample.Results()).Tables().All() {
		var b bytes.Buffer
		if err := tab.WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", tab.Name, err)
		}
		if len(rows) != len(tab.Rows)+1 {
			t.Fatalf("%s: %d rows, want %d", tab.Name, len(rows)-1, len(tab.Rows))
		}
		for i, row := range tab.Rows {
			at := 0
			for k, c := range row {
				n := [...]int{table.Text: 1, table.Number: 1, table.Interval: 3}[tab.Columns[k].Kind]
				for j := range n {
					field := rows[i+1][at+j]
					if tab.Columns[k].Kind != table.Text && j < len(c.Num) {
						got, err := strconv.ParseFloat(field, 64)
						if err != nil || math.Abs(got-c.Num[j]) > 1e-6*(1+math.Abs(c.Num[j])) {
							t.Errorf("%s row %d %s: %q, want %g", tab.Name, i, rows[0][at+j], field, c.Num[j])
						}
					}
				}
				at += n
			}
		}
	}
}

func TestMoveWords(t *testing.T) {
	est := func(f, u, r float64) fitcorr.Estimate { return sample.Estimate([3]float64{f, u, r}, 0.5, true) }
	off := func(o fitcorr.Outcome, f, u, r float64) fitcorr.EarVerdict {
		return fitcorr.EarVerdict{Outcome: o, Off: est(f, u, r), Seal: fitcorr.SealAsWorn}
	}
	leaking := off(fitcorr.Use, 0, 0, 0)
	leaking.Seal, leaking.LeakExcessDB = fitcorr.SealLeaks, [3]float64{4, 3, 5}
	tight := leaking
	tight.Seal, tight.LeakExcessDB = fitcorr.SealTighter, [3]float64{-4, -5, -3}
	ok := off(fitcorr.Use, 0.4, 0.2, 0)
	far := off(fitcorr.Undetermined, 0, 4, 0)
	far.DistanceMM = [3]float64{4, 2, 6}
	for _, c := range []struct {
		name string
		v    fitcorr.Verdict
		want string
		act  judged.Action
	}{
		{"sits back and high on the left", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Move, -4.2, 1.1, 0), ok}, Headset: ok},
			"left cup: 4 mm toward the nose, 1 mm down", judged.Move},
		{"both alike", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Move, 5, 0, 0), off(fitcorr.Move, 5.3, 0.1, 0)}, Headset: ok},
			"both cups: 5 mm toward the back of the head", judged.Move},
		{"headset only, turned", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: off(fitcorr.Move, 0, -3, 6)},
			"both cups: 3 mm up; turn the headband's top 6° toward the back of the head", judged.Move},
		{"a part not told from zero", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Move, -6, 0.7, 0), ok}, Headset: ok},
			"left cup: 6 mm toward the nose", judged.Move},
		{"the other ear beyond the tolerance, not shown", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Move, 0, 6, 0), far}, Headset: ok},
			"left cup: 6 mm down; right cup: 4 mm down", judged.Move},
		{"leak", fitcorr.Verdict{Outcome: fitcorr.Use, Ears: [2]fitcorr.EarVerdict{leaking, ok}, Headset: ok}, "reseal left", judged.Reseal},
		{"better sealed than worn", fitcorr.Verdict{Outcome: fitcorr.Use, Ears: [2]fitcorr.EarVerdict{tight, tight}, Headset: ok}, "leave as it is", judged.Use},
		{"fine", fitcorr.Verdict{Outcome: fitcorr.Use, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: ok}, "leave as it is", judged.Use},
		{"unknown", fitcorr.Verdict{Outcome: fitcorr.Undetermined, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: ok}, "not decidable yet", judged.Undetermined},
		{"both reasons", fitcorr.Verdict{Outcome: fitcorr.Move, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Move, -4, 0, 0), leaking}, Headset: ok},
			"left cup: 4 mm toward the nose; reseal right", judged.MoveReseal},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := judged.MoveWords(c.v, report.Options{Limits: study.Limits{MaxOffsetMM: 3, Confidence: 0.95}}); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if got := judged.ActionFor(c.v); got != c.act {
				t.Errorf("judged.Action %q, want %q", got.String(), c.act.String())
			}
		})
	}
}

func TestSummary(t *testing.T) {
	var b bytes.Buffer
	if err := New(sample.Results()).WriteSummary(&b, table.Options{}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Model A, seating 1: sits as worn", "Model A, seating 2: both cups: 6 mm toward the back of the head",
		"Model A, seating 6: reseal both cups", "lower the recorder's gain by 6 dB",
		"Model C: The model is open by design", "swap the plugs",
	} {
		if !strings.Contains(strings.Join(strings.Fields(b.String()), " "), want) {
			t.Errorf("summary lacks %q:\n%s", want, b.String())
		}
	}
}

// TestEmptyStudy is a study without panel or survey: nothing panics and the
// summary says so.
func TestEmptyStudy(t *testing.T) {
	r := report.Results{Title: "nothing", Recordings: []report.Recording{{Seating: capture.Seating{File: "a.wav", Subject: "fixture", Model: "Model A"}}}}
	r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: "Model A", Cannot: []string{"no panel"}}}
	var b bytes.Buffer
	if err := table.WriteAll(&b, New(r).Tables().Brief(), table.Options{}); err != nil {
		t.Fatal(err)
	}
	if err := New(r).WriteSummary(&b, table.Options{}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "No panel") {
		t.Error(b.String())
	}
}
