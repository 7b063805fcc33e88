package view

import (
	"strings"
	"testing"

	"asworn/report/internal/sample"
)

func TestState(t *testing.T) {
	r := sample.Results()
	m := r.Analysis.Models[0]
	for _, c := range []struct {
		id, word, do string
	}{
		{m.Verdicts[0].ID, "use", "leave as it is"},
		{m.Verdicts[1].ID, "move", "both cups: 6 mm toward the back of the head"},
		{strings.Replace(m.Verdicts[1].ID, "blocked", "drum", 1), "move", "both cups: 6 mm toward the back of the head"},
		{m.Verdicts[4].ID, "undetermined", "two more seatings of each listener"},
		{m.Verdicts[5].ID, "reseal", "reseal both cups"},
		{r.Recordings[3].File, "rejected", "lower the recorder's gain by 6 dB and record again"},
		{r.Recordings[2].File, "outlier", "left ear, most at 8 kHz by −5.2 dB from its group: Model A, L01, blocked"},
		{r.Recordings[0].File, "recorded", ""},
		{"", "waiting", "Put a recording in the study's folder."},
	} {
		s := New(r).State(c.id)
		do := ""
		if len(s.Do) > 0 {
			do = s.Do[0]
		}
		if s.Word != c.word || do != c.do {
			t.Errorf("%q: %q, %q; want %q, %q", c.id, s.Word, do, c.word, c.do)
		}
	}
}

// A take that is in no verdict never shows that of another with its number.
func TestStateByFile(t *testing.T) {
	r := sample.Results()
	v := r.Analysis.Models[0].Verdicts[1]
	for _, rec := range r.Recordings {
		if rec.File == v.ID {
			rec.File = "recordings/new.wav"
			r.Recordings = append(r.Recordings, rec)
			break
		}
	}
	if s := New(r).State("recordings/new.wav"); s.Word != "recorded" {
		t.Errorf("a new take with the number of another is shown as %q", s.Word)
	}
}
