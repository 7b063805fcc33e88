package tabulate

import (
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/judged"
)

// The sensitivity table names the leaking seatings its figure leaves out or
// holds, once for ears that share them.
func TestSensitivityTableNamesLeaks(t *testing.T) {
	var r report.Results
	r.Options.Confidence = 0.95
	r.Recordings = []report.Recording{{Seating: capture.Seating{File: "a_003_drum.wav", Model: "Model A", Number: 3}}}
	both := []string{"a_003_drum.wav"}
	for _, c := range []struct {
		name              string
		out, outRight, in []string
		want, lack        string
	}{
		{"none", nil, nil, nil, "", "leaked"},
		{"left out", both, both, nil, " Model A, drum reference point: the seating figure leaves out seating 3, whose seal leaked; it would be, in dB: left 4.7 (3.0…11.6), right 4.7 (3.0…11.6).", "holds"},
		{"left out of one ear", both, nil, nil, "in dB: left 4.7 (3.0…11.6).", "right"},
		{"each ear its own", both, []string{"a_003_drum.wav", "b.wav"}, nil,
			"left 4.7 (3.0…11.6). Model A, drum reference point: the seating figure leaves out seatings 3, b.wav, whose seal leaked; it would be, in dB: right 4.7 (3.0…11.6).", "left 4.7 (3.0…11.6), right"},
		{"kept", nil, nil, both, "the seating figure holds seating 3, whose seal leaked; too few would remain without: left, right.", "leaves out"},
	} {
		var m fitcorr.ModelAnalysis
		m.Model = "Model A"
		for ear, out := range [][]string{c.out, c.outRight} {
			m.Sensitivity = append(m.Sensitivity, fitcorr.Sensitivity{Ear: capture.Ears[ear], Point: capture.Drum, OnFixture: 6,
				SeatingDB: [3]float64{0.7, 0.5, 1}, LeftOut: out, LeaksIn: c.in, WithLeaksDB: [3]float64{4.74, 2.96, 11.63}})
		}
		r.Analysis.Models = []fitcorr.ModelAnalysis{m}
		note := sensitivityTable(judged.Of(r)).Note
		if !strings.Contains(note, c.want) || strings.Contains(note, c.lack) {
			t.Errorf("%s: note %q", c.name, note)
		}
	}
}
