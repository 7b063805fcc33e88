package tabulate

import (
	"math"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/report"
	"asworn/report/judged"
)

// Listeners are added up by their louder ear, refused recordings included; the
// fixture and recordings without calibration are not heard by anybody.
func TestExposureTable(t *testing.T) {
	rec := func(subject string, left, right float64, usable bool) report.Recording {
		return report.Recording{Seating: capture.Seating{Subject: subject, Point: capture.Blocked}, Usable: usable,
			SoundSeconds: 6, SweepLevelA: [2]float64{left, right}}
	}
	got := exposureTable(judged.Of(report.Results{Recordings: []report.Recording{
		rec("L02", 90, 80, true), rec("L01", 70, 73, true), rec("L02", 90, 80, false),
		rec(capture.FixtureSubject, 110, 110, true), rec("L03", 0, 0, true)}}))
	if len(got.Rows) != 2 || got.Rows[0][0].Text != "L02" || got.Rows[1][0].Text != "L01" {
		t.Fatalf("rows %+v", got.Rows)
	}
	// 12 s at 90 dB: 90 − 10·lg(28800/12) = 56.2 dB; 0.417 % of a day at 80 dB.
	want := []float64{2, 12, 90, 90 - 10*math.Log10(2400), 100 * 12 * 10 / 28800.}
	for i, w := range want {
		if g := got.Rows[0][i+1].Num[0]; math.Abs(g-w) > 1e-9 {
			t.Errorf("%s: %v, want %v", got.Columns[i+1].Key, g, w)
		}
	}
	if l := got.Rows[1][3].Num[0]; l != 73 {
		t.Errorf("the louder ear of L01: %v", l)
	}
	if got := exposureTable(judged.Of(report.Results{Recordings: []report.Recording{rec("L01", 0, 0, true)}})); !got.Empty() {
		t.Errorf("an exposure without calibration: %+v", got.Rows)
	}
}

// A clipped recording makes the listener's levels lower limits, and nobody
// else's.
func TestExposureOfClipped(t *testing.T) {
	rec := func(subject string, codes ...finding.Code) report.Recording {
		r := report.Recording{Seating: capture.Seating{Subject: subject}, SoundSeconds: 6, SweepLevelA: [2]float64{90, 90}}
		for _, c := range codes {
			r.Findings = append(r.Findings, capture.Finding{Code: c})
		}
		return r
	}
	got := exposureTable(judged.Of(report.Results{Recordings: []report.Recording{rec("L01"), rec("L01", "noisy"), rec("L02"), rec("L02", "clipping")}}))
	for i, marked := range []bool{false, true} {
		for _, c := range got.Rows[i][3:] {
			if strings.HasPrefix(c.Text, "≥ ") != marked {
				t.Errorf("%s: %q", got.Rows[i][0].Text, c.Text)
			}
		}
	}
}
