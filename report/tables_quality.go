package report

import (
	"slices"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
)

// SensitivityTable sets the models side by side: the summary figures of
// docs/sensitivity.md and the RMS bias of the fixture.
func SensitivityTable(r Results) Table {
	t := Table{
		Name: "fit-sensitivity", Title: "Fit sensitivity",
		Note: "RMS over third octaves from 50 Hz to 10 kHz, with the " + percent(r.Options.Confidence) +
			" interval. Listener and seating: how far one person putting the headphone on once is from the panel's mean. " +
			"Seating: the same person again.",
		Columns: []Column{
			{Head: "Model", Key: "model", Repeat: true},
			{Head: "Ear", Key: "ear", Repeat: true},
			{Head: "Point", Key: "point", Repeat: true},
			{Head: "Listeners", Key: "listeners", Kind: Number},
			{Head: "Worn\nseatings", Key: "worn_seatings", Kind: Number},
			{Head: "Fixture\nseatings", Key: "fixture_seatings", Kind: Number},
			{Head: "Listener and\nseating, dB", Key: "summary_db", Kind: Interval},
			{Head: "Seating\ndB", Key: "seating_db", Kind: Interval},
			{Head: "Fixture bias\nRMS dB", Key: "bias_rms_db", Kind: Number},
		},
	}
	figure := func(v [3]float64) Cell {
		switch {
		case v[0] == 0:
			return none()
		case v[1] == 0 && v[2] == 0:
			return Cell{Text: fixed(v[0], 1), Num: []float64{v[0]}}
		}
		return interval(v[0], v[1], v[2])
	}
	ix := newIndex(r)
	for _, m := range r.Analysis.Models {
		for _, s := range m.Sensitivity {
			t.add(words(m.Model), words(s.Ear), words(string(s.Point)), count(s.Listeners), count(s.Worn), count(s.OnFixture),
				figure(s.SummaryDB), figure(s.SeatingDB), biasRMS(r, s))
		}
		t.Note += leakNotes(ix, m)
	}
	return t
}

// leakNotes says which seatings of a model with a leaking seal the seating
// figures leave out, or hold for want of others; empty without any. Ears that
// leave out the same seatings share a sentence.
func leakNotes(ix index, m fitcorr.ModelAnalysis) string {
	var what, ears []string
	add := func(w, ear string) {
		if n := len(what); n > 0 && what[n-1] == w {
			ears[n-1] += ", " + ear
			return
		}
		what, ears = append(what, w), append(ears, ear)
	}
	for _, s := range m.Sensitivity {
		where := " " + m.Model + ", " + string(s.Point) + " point: the seating figure "
		switch v := s.WithLeaksDB; {
		case len(s.LeftOut) > 0:
			with := fixed(v[0], 1)
			if v[2] > 0 {
				with += " (" + fixed(v[1], 1) + "…" + fixed(v[2], 1) + ")"
			}
			add(where+"leaves out "+ix.numbers(s.LeftOut)+", whose seal leaked; it would be, in dB: ", s.Ear+" "+with)
		case len(s.LeaksIn) > 0:
			add(where+"holds "+ix.numbers(s.LeaksIn)+", whose seal leaked; too few would remain without: ", s.Ear)
		}
	}
	for i := range what {
		what[i] += ears[i] + "."
	}
	return strings.Join(what, "")
}

// RepeatabilityTables gives, per model and point, the scatter per third octave.
func RepeatabilityTables(r Results) []Table {
	var out []Table
	distinct := names{}
	for _, m := range r.Analysis.Models {
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			var per []fitcorr.Sensitivity
			for _, s := range m.Sensitivity {
				if s.Point == p {
					per = append(per, s)
				}
			}
			if t := repeatability(r, m.Model, p, per); !t.empty() {
				t.Name = distinct.next(t.Name)
				out = append(out, t)
			}
		}
	}
	return out
}

// bandColumn is one optional column of a repeatability table.
type bandColumn struct {
	col Column
	at  func(i int) (Cell, bool)
}

func repeatability(r Results, model string, p capture.Point, per []fitcorr.Sensitivity) Table {
	t := Table{
		Name: "repeatability-" + slug(model) + "-" + string(p), Title: "Repeatability per third octave: " + model + ", " + string(p) + " point",
		Note: "Standard deviations in dB (ISO 5725-2): s_r of the same listener again, s_R of another listener, " +
			"fixture: of its own seatings; bias: fixture minus worn with the " + percent(r.Options.Confidence) + " interval.",
		Columns: []Column{{Head: "Band\nHz", Key: "band_hz", Kind: Number, Repeat: true}},
	}
	var cols []bandColumn
	for _, s := range per {
		cols = append(cols, sensitivityColumns(r, s)...)
	}
	for _, c := range cols {
		t.Columns = append(t.Columns, c.col)
	}
	for i, f := range r.ThirdsHz {
		row := []Cell{{Text: hertz(f), Num: []float64{f}}}
		some := false
		for _, c := range cols {
			cell, ok := c.at(i)
			row = append(row, cell)
			some = some || ok
		}
		if some {
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

func sensitivityColumns(r Results, s fitcorr.Sensitivity) []bandColumn {
	var out []bandColumn
	at := func(v []float64, valid []bool) func(int) (Cell, bool) {
		return func(i int) (Cell, bool) {
			if i >= len(v) || i < len(valid) && !valid[i] {
				return none(), false
			}
			return number(v[i], 2), true
		}
	}
	head := func(what, key string, k Kind) Column {
		return Column{Head: s.Ear + "\n" + what, Key: s.Ear + "_" + key, Kind: k}
	}
	if s.Listeners > 0 {
		if s.RepeatabilityDB != nil {
			out = append(out, bandColumn{head("s_r", "repeatability_db", Number), at(s.RepeatabilityDB, s.PanelValid)})
		}
		if s.ReproducibilityDB != nil {
			out = append(out, bandColumn{head("s_R", "reproducibility_db", Number), at(s.ReproducibilityDB, s.PanelValid)})
		}
	}
	if s.Fixture != nil {
		out = append(out, bandColumn{head("fixture", "fixture_sd_db", Interval), func(i int) (Cell, bool) {
			if i >= len(s.Fixture) || i < len(s.FixtureValid) && !s.FixtureValid[i] {
				return none(), false
			}
			c := s.Fixture[i]
			return Cell{Text: fixed(c.SD, 2), Num: []float64{c.SD, c.Lower, c.Upper}}, true
		}})
	}
	if s.BiasDB != nil {
		out = append(out, bandColumn{head("bias", "bias_db", Interval), func(i int) (Cell, bool) {
			if !biasCounts(s, i) {
				return none(), false
			}
			return spread(s.BiasDB[i], biasHalf(r, s, i)), true
		}})
	}
	return out
}

// StandOutTable lists seatings that stand out of their own group.
func StandOutTable(r Results) Table {
	t := Table{
		Name: "stand-outs", Title: "Seatings that stand out of their group",
		Columns: []Column{
			{Head: "Group", Key: "group", Repeat: true},
			{Head: "Seating", Key: "seating", Repeat: true},
			{Head: "Ear", Key: "ear"},
			{Head: "Band", Key: "band"},
			{Head: "Distance", Key: "distance", Kind: Number},
			{Head: "P", Key: "p", Kind: Number},
			{Head: "Most at\nHz", Key: "worst_hz", Kind: Number},
			{Head: "by\ndB", Key: "worst_db", Kind: Number},
			{Head: "File", Key: "file"},
		},
	}
	ix := newIndex(r)
	tested, size := 0, 0.0
	for _, s := range r.Analysis.StandOuts {
		tested++
		size = max(size, s.Size)
		if !s.Flagged {
			continue
		}
		no := none()
		if rec, ok := ix.recording(s.ID); ok {
			no = linked(strconv.Itoa(rec.Number), rec.File)
		}
		t.add(words(s.Group), no, words(s.Ear), words(s.Band), number(s.Distance, 1),
			Cell{Text: probability(s.P), Num: []float64{s.P}},
			Cell{Text: hertz(s.WorstHz), Num: []float64{s.WorstHz}}, number(s.WorstDB, 1), words(shortFile(s.ID)))
	}
	t.Note = strconv.Itoa(tested) + " tests; each ear of a group keeps a false-alarm probability of " + percent(size) +
		". Low: the seal's end of the range; high: the position's. P is corrected for the members and both bands."
	return t
}

func probability(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return fixed(p, 3)
}

// FindingTable lists what was found about recordings, worst first within the
// order of the sheet.
func FindingTable(r Results) Table {
	t := Table{
		Name: "findings", Title: "Quality findings",
		Note: "Refused: kept out of every curve. Warning: used, with care.",
		Columns: []Column{
			{Head: "Row", Key: "row", Kind: Number, Repeat: true},
			{Head: "File", Key: "file", Repeat: true},
			{Head: "Severity", Key: "severity"},
			{Head: "Channel", Key: "channel"},
			{Head: "Found", Key: "found"},
			{Head: "Mend", Key: "mend"},
		},
	}
	tones := map[capture.Severity]Tone{capture.Warning: Unsure, capture.Refusal: Bad}
	for _, sev := range []capture.Severity{capture.Refusal, capture.Warning, capture.Note} {
		for _, rec := range r.Recordings {
			for _, f := range rec.Findings {
				if f.Severity != sev {
					continue
				}
				t.add(count(rec.Row), linked(rec.File, rec.File), toned(sev.String(), tones[sev]),
					words(f.Channel), words(oneLine(f.Message)), words(oneLine(f.Mend)))
			}
		}
	}
	return t
}

// mendWords is the mend of the worst finding of a refused recording.
func mendWords(rec Recording) string {
	f := slices.Clone(rec.Findings)
	slices.SortStableFunc(f, func(a, b capture.Finding) int { return int(b.Severity) - int(a.Severity) })
	if len(f) == 0 {
		return "no reason was recorded"
	}
	if f[0].Mend == "" {
		return oneLine(f[0].Message)
	}
	return oneLine(f[0].Mend)
}
