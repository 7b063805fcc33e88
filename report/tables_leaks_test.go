package report

import (
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr"
)

// The sensitivity table names the leaking seatings its figure leaves out or holds.
func TestSensitivityTableNamesLeaks(t *testing.T) {
	var r Results
	r.Options.Confidence = 0.95
	s := fitcorr.Sensitivity{Ear: "left", Point: capture.Drum, OnFixture: 6, SeatingDB: [3]float64{0.7, 0.5, 1}}
	for _, c := range []struct {
		name       string
		out, in    []string
		want, lack string
	}{
		{"none", nil, nil, "", "leaked"},
		{"left out", []string{"a_003_drum.wav"}, nil, "Model A, left ear, drum point: the seating figure leaves out a_003_drum.wav, whose seal leaked; with it 4.7 (3.0 to 11.6) dB.", "holds"},
		{"kept", nil, []string{"a_003_drum.wav"}, "the seating figure holds a_003_drum.wav, whose seal leaked; too few would remain without.", "leaves out"},
	} {
		s.LeftOut, s.LeaksIn, s.WithLeaksDB = c.out, c.in, [3]float64{4.74, 2.96, 11.63}
		r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: "Model A", Sensitivity: []fitcorr.Sensitivity{s}}}
		note := SensitivityTable(r).Note
		if !strings.Contains(note, c.want) || strings.Contains(note, c.lack) {
			t.Errorf("%s: note %q", c.name, note)
		}
	}
}
