package report

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
	"asworn/fitcorr"
)

func TestTablesFit(t *testing.T) {
	r := synthetic()
	for width := 40; width <= 120; width += 5 {
		var b bytes.Buffer
		if err := Tables(&b, r, TableOptions{Width: width}); err != nil {
			t.Fatal(err)
		}
		if err := SummaryWidth(&b, r, width); err != nil {
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
	for _, table := range AllTables(synthetic()) {
		for _, width := range []int{40, 63, 100} {
			var b bytes.Buffer
			if err := table.WriteText(&b, TableOptions{Width: width}); err != nil {
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
			for _, row := range table.Rows {
				for _, c := range row {
					for k, n := range letters(c.Text) {
						want[k] += n
					}
				}
			}
			for k, n := range want {
				if k != ' ' && got[k] < n {
					t.Errorf("%s at %d: %q %d times, want at least %d", table.Name, width, k, got[k], n)
				}
			}
		}
	}
}

func TestColorCarriesNothing(t *testing.T) {
	r := synthetic()
	var plain, color bytes.Buffer
	if err := Tables(&plain, r, TableOptions{Width: 90}); err != nil {
		t.Fatal(err)
	}
	if err := Tables(&color, r, TableOptions{Width: 90, Color: true}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(color.String(), "\x1b[") || strings.Contains(plain.String(), "\x1b") {
		t.Fatal("colour only when asked for")
	}
	s := color.String()
	for _, code := range []string{"0", "32", "36", "1;33", "1;31"} {
		s = strings.ReplaceAll(s, "\x1b["+code+"m", "")
	}
	var bare strings.Builder
	for line := range strings.Lines(s) {
		bare.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
	if diff := cmp.Diff(plain.String(), bare.String()); diff != "" {
		t.Error(diff)
	}
}

// TestCSVMatches reads each CSV back and compares its numbers with the cells.
func TestCSVMatches(t *testing.T) {
	for _, table := range AllTables(synthetic()) {
		var b bytes.Buffer
		if err := table.WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", table.Name, err)
		}
		if len(rows) != len(table.Rows)+1 {
			t.Fatalf("%s: %d rows, want %d", table.Name, len(rows)-1, len(table.Rows))
		}
		for i, row := range table.Rows {
			at := 0
			for k, c := range row {
				n := [...]int{Text: 1, Number: 1, Interval: 3}[table.Columns[k].Kind]
				for j := range n {
					field := rows[i+1][at+j]
					if table.Columns[k].Kind != Text && j < len(c.Num) {
						got, err := strconv.ParseFloat(field, 64)
						if err != nil || math.Abs(got-c.Num[j]) > 1e-6*(1+math.Abs(c.Num[j])) {
							t.Errorf("%s row %d %s: %q, want %g", table.Name, i, rows[0][at+j], field, c.Num[j])
						}
					}
				}
				at += n
			}
		}
	}
}

func TestCSVText(t *testing.T) {
	for in, want := range map[string]string{
		"=HYPERLINK(1)": "'=HYPERLINK(1)", "+1": "'+1", "-1+2": "'-1+2", "@SUM(A1)": "'@SUM(A1)",
		"\t=1": "'\t=1", "  =1": "'  =1", "＝1": "'＝1", "\r=1": "'\r=1", "L01": "L01", "": "", "a=b": "a=b", "–": "",
	} {
		if got := csvText(in); got != want {
			t.Errorf("csvText(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestMarkdownText(t *testing.T) {
	got := markdownText("<script>alert(1)</script> | [x](y) *b*\n`c`")
	for _, bad := range []string{"<script>", " | ", "[x]", "\n", " *b", "<b>"} {
		if strings.Contains(got, bad) {
			t.Errorf("%q holds %q", got, bad)
		}
	}
}

func TestMoveWords(t *testing.T) {
	est := func(f, u, r float64) fitcorr.Estimate { return estimate([3]float64{f, u, r}, 0.5, true) }
	off := func(o fitcorr.Outcome, f, u, r float64) fitcorr.EarVerdict {
		return fitcorr.EarVerdict{Outcome: o, Off: est(f, u, r), LeakOutcome: fitcorr.Matches}
	}
	leaking := off(fitcorr.Matches, 0, 0, 0)
	leaking.LeakOutcome, leaking.LeakExcessDB = fitcorr.Adjust, [3]float64{4, 3, 5}
	tight := leaking
	tight.LeakExcessDB = [3]float64{-4, -5, -3}
	ok := off(fitcorr.Matches, 0.4, 0.2, 0)
	far := off(fitcorr.Undetermined, 0, 4, 0)
	far.DistanceMM = [3]float64{4, 2, 6}
	for _, c := range []struct {
		name string
		v    fitcorr.Verdict
		want string
		act  action
	}{
		{"sits back and high on the left", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Adjust, -4.2, 1.1, 0), ok}, Headset: ok},
			"left cup: 4 mm toward the nose, 1 mm down", actMove},
		{"both alike", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Adjust, 5, 0, 0), off(fitcorr.Adjust, 5.3, 0.1, 0)}, Headset: ok},
			"both cups: 5 mm toward the back of the head", actMove},
		{"headset only, turned", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: off(fitcorr.Adjust, 0, -3, 6)},
			"both cups: 3 mm up; turn the headband's top 6° toward the back of the head", actMove},
		{"a part not told from zero", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Adjust, -6, 0.7, 0), ok}, Headset: ok},
			"left cup: 6 mm toward the nose", actMove},
		{"the other ear beyond the tolerance, not shown", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Adjust, 0, 6, 0), far}, Headset: ok},
			"left cup: 6 mm down; right cup: 4 mm down", actMove},
		{"leak", fitcorr.Verdict{Outcome: fitcorr.Matches, Ears: [2]fitcorr.EarVerdict{leaking, ok}, Headset: ok}, "reseal left", actReseal},
		{"better sealed than worn", fitcorr.Verdict{Outcome: fitcorr.Matches, Ears: [2]fitcorr.EarVerdict{tight, tight}, Headset: ok}, "leave as it is", actUse},
		{"fine", fitcorr.Verdict{Outcome: fitcorr.Matches, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: ok}, "leave as it is", actUse},
		{"unknown", fitcorr.Verdict{Outcome: fitcorr.Undetermined, Ears: [2]fitcorr.EarVerdict{ok, ok}, Headset: ok}, "cannot be told yet", actUnsure},
		{"both reasons", fitcorr.Verdict{Outcome: fitcorr.Adjust, Ears: [2]fitcorr.EarVerdict{off(fitcorr.Adjust, -4, 0, 0), leaking}, Headset: ok},
			"left cup: 4 mm toward the nose; reseal right", actMoveReseal},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := moveWords(c.v, Options{ToleranceMM: 3, Confidence: 0.95}); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if got := actionFor(c.v); got != c.act {
				t.Errorf("action %q, want %q", got.word(), c.act.word())
			}
		})
	}
}

func TestIntervalText(t *testing.T) {
	for _, c := range []struct {
		est, lo, hi float64
		want        string
	}{
		{4.21, 3.3, 5.12, "4.2 ± 0.9"}, {-4.21, -5.12, -3.3, "−4.2 ± 0.9"}, {3, 2.9, 5, "3.0 (2.9…5.0)"},
		{123, 103, 143, "123 ± 20"}, {0.02, -0.03, 0.07, "0.02 ± 0.05"}, {-0.01, -0.6, 0.6, "0.0 ± 0.6"},
	} {
		if got := intervalText(c.est, c.lo, c.hi); got != c.want {
			t.Errorf("%v: got %q, want %q", c, got, c.want)
		}
	}
}

func TestHertz(t *testing.T) {
	for f, want := range map[float64]string{19.95: "20", 31.62: "31.5", 63.1: "63", 1000: "1 k", 1258.9: "1.25 k", 12589: "12.5 k", 7943: "8 k", 3162: "3.15 k"} {
		if got := hertz(f); got != want {
			t.Errorf("hertz(%g) = %q, want %q", f, got, want)
		}
	}
}

func TestHertzUnit(t *testing.T) {
	for f, want := range map[float64]string{18.8: "18.8 Hz", 16788: "16.8 kHz", 12589: "12.5 kHz", 7943: "8 kHz", 1000: "1 kHz", 440: "440 Hz"} {
		if got := hertzUnit(f); got != want {
			t.Errorf("hertzUnit(%g) = %q, want %q", f, got, want)
		}
	}
}

func TestSummary(t *testing.T) {
	var b bytes.Buffer
	if err := Summary(&b, synthetic()); err != nil {
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
	r := Results{Title: "nothing", Recordings: []Recording{{Seating: capture.Seating{File: "a.wav", Subject: "fixture", Model: "Model A"}}}}
	r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: "Model A", Cannot: []string{"no panel"}}}
	var b bytes.Buffer
	if err := Tables(&b, r, TableOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := Summary(&b, r); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "No panel") {
		t.Error(b.String())
	}
}
