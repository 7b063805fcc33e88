package tabulate

import (
	"cmp"
	"path"
	"slices"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/fitcorr"
	"asworn/fitcorr/standout"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// sensitivityTable sets the models side by side: the summary figures of
// docs/sensitivity.md and the RMS bias of the fixture.
func sensitivityTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "fit-sensitivity", Title: "Fit sensitivity",
		Note: "RMS over third octaves from 50 Hz to 10 kHz, with the " + text.Percent(r.Options.Confidence) +
			" interval. Listener and seating: how far one person putting the headphone on once is from the sample mean. " +
			"Seating: the same person again.",
		Columns: []table.Column{
			modelColumn,
			earColumn,
			pointColumn,
			{Head: "Listeners", Key: "listeners", Kind: table.Number},
			{Head: "Worn\nseatings", Key: "worn_seatings", Kind: table.Number},
			{Head: "Fixture\nseatings", Key: "fixture_seatings", Kind: table.Number},
			{Head: "Listener and\nseating, dB", Key: "summary_db", Kind: table.Interval},
			{Head: "Seating\ndB", Key: "seating_db", Kind: table.Interval},
		},
	}
	figure := func(v [3]float64) table.Cell {
		switch {
		case v[0] == 0:
			return table.None()
		case v[1] == 0 && v[2] == 0:
			return table.Cell{Text: text.Fixed(v[0], 1), Num: []float64{v[0]}}
		}
		return table.Between(v[0], v[1], v[2])
	}
	for _, m := range r.Analysis.Models {
		for _, s := range m.Sensitivity {
			t.Add(table.Word(m.Model), table.Word(s.Ear.String()), pointCell(s.Point), table.Count(s.Listeners), table.Count(s.Worn), table.Count(s.OnFixture),
				figure(s.SummaryDB), figure(s.SeatingDB))
		}
		t.Note += leakNotes(r, m)
	}
	return t
}

// leakNotes says which seatings of a model with a leaking seal the seating
// figures leave out, or hold for want of others; empty without any. Ears that
// leave out the same seatings share a sentence.
func leakNotes(r *judged.Study, m fitcorr.ModelAnalysis) string {
	var what, ears []string
	add := func(w, ear string) {
		if n := len(what); n > 0 && what[n-1] == w {
			ears[n-1] += ", " + ear
			return
		}
		what, ears = append(what, w), append(ears, ear)
	}
	for _, s := range m.Sensitivity {
		where := " " + m.Model + ", " + s.Point.Words() + ": the seating figure "
		switch v := s.WithLeaksDB; {
		case len(s.LeftOut) > 0:
			with := text.Fixed(v[0], 1)
			if v[2] > 0 {
				with += " (" + text.Fixed(v[1], 1) + "…" + text.Fixed(v[2], 1) + ")"
			}
			add(where+"leaves out "+r.Numbers(s.LeftOut)+", whose seal leaked; it would be, in dB: ", s.Ear.String()+" "+with)
		case len(s.LeaksIn) > 0:
			add(where+"holds "+r.Numbers(s.LeaksIn)+", whose seal leaked; too few would remain without: ", s.Ear.String())
		}
	}
	for i := range what {
		what[i] += ears[i] + "."
	}
	return strings.Join(what, "")
}

// repeatabilityTables gives, per model and point, the scatter per third octave.
func repeatabilityTables(r *judged.Study) []table.Table {
	var out []table.Table
	distinct := text.Names{}
	for _, m := range r.Analysis.Models {
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			var per []fitcorr.Sensitivity
			for _, s := range m.Sensitivity {
				if s.Point == p {
					per = append(per, s)
				}
			}
			if t := repeatability(r, m.Model, p, per); !t.Empty() {
				t.Name = distinct.Next(t.Name)
				out = append(out, t)
			}
		}
	}
	return out
}

// bandColumn is one optional column of a repeatability table.
type bandColumn struct {
	col table.Column
	at  func(i int) (table.Cell, bool)
}

func repeatability(r *judged.Study, model string, p capture.Point, per []fitcorr.Sensitivity) table.Table {
	t := table.Table{
		Name: "repeatability-" + text.Slug(model) + "-" + string(p), Title: "Repeatability per third octave: " + model + ", " + p.Words(),
		Note: "Standard deviations in dB (ISO 5725-2): s_r of the same listener again, s_R of another listener, " +
			"fixture: of its own seatings; fixture minus worn: of the means, with the " + text.Percent(r.Options.Confidence) + " interval.",
		Columns: []table.Column{{Head: "Band\nHz", Key: "band_hz", Kind: table.Number, Repeat: true}},
	}
	var cols []bandColumn
	for _, s := range per {
		cols = append(cols, sensitivityColumns(r, s)...)
	}
	for _, c := range cols {
		t.Columns = append(t.Columns, c.col)
	}
	for i, f := range r.ThirdsHz {
		row := []table.Cell{{Text: text.Hertz(f), Num: []float64{f}}}
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

func sensitivityColumns(r *judged.Study, s fitcorr.Sensitivity) []bandColumn {
	var out []bandColumn
	at := func(v []float64, valid []bool) func(int) (table.Cell, bool) {
		return func(i int) (table.Cell, bool) {
			if i >= len(v) || i < len(valid) && !valid[i] {
				return table.None(), false
			}
			return table.Value(v[i], 2), true
		}
	}
	head := func(what, key string, k table.Kind) table.Column {
		return table.Column{Head: s.Ear.String() + "\n" + what, Key: s.Ear.String() + "_" + key, Kind: k}
	}
	if s.Listeners > 0 {
		if s.RepeatabilityDB != nil {
			out = append(out, bandColumn{head("s_r", "repeatability_db", table.Number), at(s.RepeatabilityDB, s.PanelValid)})
		}
		if s.ReproducibilityDB != nil {
			out = append(out, bandColumn{head("s_R", "reproducibility_db", table.Number), at(s.ReproducibilityDB, s.PanelValid)})
		}
	}
	if s.Fixture != nil {
		out = append(out, bandColumn{head("fixture", "fixture_sd_db", table.Interval), func(i int) (table.Cell, bool) {
			if i >= len(s.Fixture) || i < len(s.FixtureValid) && !s.FixtureValid[i] {
				return table.None(), false
			}
			c := s.Fixture[i]
			return table.Cell{Text: text.Fixed(c.SD, 2), Num: []float64{c.SD, c.Lower, c.Upper}}, true
		}})
	}
	if s.BiasDB != nil {
		out = append(out, bandColumn{head("fixture minus worn", "fixture_minus_worn_db", table.Interval), func(i int) (table.Cell, bool) {
			if !s.BiasCounts(i) {
				return table.None(), false
			}
			return table.PlusMinus(s.BiasDB[i], s.BiasHalf(i, r.Options.Confidence)), true
		}})
	}
	return out
}

// standOutRows is how many ears of seatings are listed at least, the most unlike
// first, whether they stand out or not.
const standOutRows = 10

// standOutTable lists the seatings that are most unlike their own group: those
// that stand out, and the next ones.
func standOutTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "outliers", Title: "Seatings most unlike their group",
		Columns: []table.Column{
			{Head: "Group", Key: "group", Repeat: true},
			{Head: "Seating", Key: "seating", Repeat: true},
			{Head: "Ear", Key: "ear"},
			{Head: "Band", Key: "band"},
			{Head: "Distance", Key: "distance", Kind: table.Number},
			{Head: "P", Key: "p", Kind: table.Number},
			{Head: "Outlier", Key: "outlier"},
			{Head: "Most at\nHz", Key: "worst_hz", Kind: table.Number},
			{Head: "by\ndB", Key: "worst_db", Kind: table.Number},
			{Head: "File", Key: "file"},
		},
	}
	size := 0.0
	ordered := slices.Clone(r.Analysis.StandOuts)
	slices.SortStableFunc(ordered, func(a, b fitcorr.StandOut) int {
		return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(b.Distance, a.Distance))
	})
	type thing struct {
		id   string
		ear  capture.Ear
		band standout.Band
	}
	also := map[thing][]string{} // points at which the same thing shows
	for _, s := range ordered {
		if s.SameAs != "" {
			k := thing{s.SameAs, s.Ear, s.Band}
			also[k] = append(also[k], path.Base(s.ID))
		}
	}
	for i, s := range ordered {
		size = max(size, s.Size)
		if s.SameAs != "" || i >= standOutRows && !s.Flagged {
			continue
		}
		out := "no"
		if s.Flagged {
			out = strings.Join(append([]string{"yes"}, also[thing{s.ID, s.Ear, s.Band}]...), "; also ")
		}
		no := table.None()
		if rec, ok := r.Recording(s.ID); ok {
			no = table.Linked(strconv.Itoa(rec.Number), rec.File)
		}
		t.Add(table.Word(s.Group), no, table.Word(s.Ear.String()), table.Word(string(s.Band)), table.Value(s.Distance, 1),
			table.Cell{Text: text.Probability(s.P), Num: []float64{s.P}}, table.Word(out),
			table.Cell{Text: text.Hertz(s.WorstHz), Num: []float64{s.WorstHz}}, table.Value(s.WorstDB, 1), table.Word(path.Base(s.ID)))
	}
	t.Note = "The most unlike of " + strconv.Itoa(len(ordered)) + " ears and ranges of seatings. The search keeps a false-alarm probability of " +
		text.Percent(size) + " per study and per group. Low: the seal's end of the range; high: the position's. P is corrected for the group's members, ears and ranges."
	return t
}

// findingTable lists what was found about recordings, worst first within the
// order of the sheet; brief, a cause that many recordings share is listed for the
// first few.
func findingTable(r *judged.Study, brief bool) table.Table {
	t := table.Table{
		Name: "findings", Title: "Quality findings",
		Note: "Rejected: kept out of every curve. Warning: used, with care.",
		Columns: []table.Column{
			{Head: "Row", Key: "row", Kind: table.Number, Repeat: true},
			{Head: "Severity", Key: "severity"},
			{Head: "Found", Key: "found"},
			{Head: "Remedy", Key: "remedy"},
			{Head: "Channel", Key: "channel"},
			{Head: "File", Key: "file"},
		},
	}
	tones := map[capture.Severity]table.Tone{capture.Warning: table.Unsure, capture.Refusal: table.Bad}
	found := make([][]finding.Joint, len(r.Recordings))
	for i, rec := range r.Recordings {
		found[i] = finding.ByCause(rec.Findings)
	}
	repeats := finding.NewRepeats(found)
	for _, sev := range []capture.Severity{capture.Refusal, capture.Warning, capture.Note} {
		word := table.Toned(sev.String(), tones[sev])
		for i, rec := range r.Recordings {
			for _, f := range found[i] {
				if f.Severity == sev && (!brief || repeats.Show(f, rec.Row)) {
					t.Add(table.Count(rec.Row), word, table.Word(text.OneLine(f.Message)), table.Word(text.OneLine(f.Mend)),
						table.Word(f.Channel), table.Linked(rec.File, rec.File))
				}
			}
		}
	}
	for _, more := range repeats.Rest() {
		t.Add(table.None(), table.Word(more.String()), table.Toned(more.First.Severity.String(), tones[more.First.Severity]),
			table.Word(more.First.Channel), table.Word("as row "+strconv.Itoa(more.Row)), table.Word(text.OneLine(more.First.Mend)))
	}
	return t
}
