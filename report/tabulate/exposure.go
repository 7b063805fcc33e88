package tabulate

import (
	"fmt"
	"slices"

	"asworn/capture"
	"asworn/capture/exposure"
	"asworn/capture/finding"
	"asworn/report/judged"
	"asworn/report/table"
)

// exposureTable shows what each listener was exposed to, a caution from
// calibrated recordings; refused recordings count, since their sweeps were
// heard; what was clipped makes the figures lower limits. It is empty when no listener's recording is calibrated.
func exposureTable(r *judged.Study) table.Table {
	limit := exposure.Limits()[0]
	t := table.Table{
		Name: "exposure", Title: "Sound exposure of the listeners",
		Note: fmt.Sprintf("A caution, not a clearance: local rules and qualified people decide. Levels at the microphone in the ear, dB SPL A-weighted, "+
			"the louder ear; ISO 11904-1 tells how to relate them to limits, which are meant for the field without the listener. "+
			"Share of a day at %.0f dB L_EX,8h (%s). Only what was recorded is counted. ≥: a recording was clipped; the sound was at least that loud, "+
			"if the gain was the calibrated one.", limit.LEX8hDB, limit.Name),
		Columns: []table.Column{
			{Head: "Listener", Key: "subject", Repeat: true},
			{Head: "Recordings", Key: "recordings", Kind: table.Number},
			{Head: "Sound\ns", Key: "sound_s", Kind: table.Number},
			{Head: "Highest\ndB(A)", Key: "highest_db_a", Kind: table.Number},
			{Head: "L_EX,8h\ndB", Key: "lex_8h_db", Kind: table.Number},
			{Head: "Share of\na day, %", Key: "share_percent", Kind: table.Number},
		},
	}
	type heard struct {
		recordings int
		clipped    bool
		ears       [2]exposure.Session
	}
	var order []string
	listeners := make(map[string]*heard)
	for _, rec := range r.Recordings {
		if rec.OnFixture() || rec.SoundSeconds <= 0 || (rec.SweepLevelA[0] <= 0 && rec.SweepLevelA[1] <= 0) {
			continue
		}
		h := listeners[rec.Subject]
		if h == nil {
			h = &heard{}
			listeners[rec.Subject] = h
			order = append(order, rec.Subject)
		}
		h.recordings++
		h.clipped = h.clipped || slices.ContainsFunc(rec.Findings, func(f capture.Finding) bool { return f.Code == finding.Clipping || f.Code == finding.FlatTop })
		for e := range h.ears {
			h.ears[e] = h.ears[e].With(rec.SweepLevelA[e], rec.SoundSeconds)
		}
	}
	for _, subject := range order {
		h := listeners[subject]
		s := h.ears[0]
		if h.ears[1].LEX8hDB() > s.LEX8hDB() {
			s = h.ears[1]
		}
		share := 100 * limit.Share(s)
		text := table.Value(share, 2)
		switch {
		case share < 0.01:
			text = table.Cell{Text: "< 0.01", Num: []float64{share}}
		case share >= 100:
			text.Tone = table.Bad
		case share >= 10:
			text.Tone = table.Act
		}
		highest, energy := table.Value(s.MaxLevelA, 1), table.Value(s.LEX8hDB(), 1)
		if h.clipped {
			for _, c := range []*table.Cell{&highest, &energy, &text} {
				c.Text = "≥ " + c.Text
			}
			if share < 0.01 {
				text.Text = "≥ 0"
			}
		}
		t.Add(table.Word(subject), table.Count(h.recordings), table.Value(s.Seconds, 0), highest, energy, text)
	}
	return t
}
