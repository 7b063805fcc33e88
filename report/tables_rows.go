package report

import (
	"strconv"

	"asworn/capture"
)

// RecordingTable lists every recording with what became of it.
func RecordingTable(r Results) Table {
	t := Table{Name: "recordings", Title: "Recordings", Columns: []Column{
		{Head: "Row", Key: "row", Kind: Number, Repeat: true}, {Head: "File", Key: "file", Repeat: true}, {Head: "Seating", Key: "seating"},
		{Head: "Use", Key: "use"}, {Head: "Repeats\nused of", Key: "repeats"}, {Head: "Drift\nppm", Key: "drift_ppm", Kind: Number},
		{Head: "Seal", Key: "seal"}, {Head: "Notes", Key: "notes"}}}
	for _, rec := range r.Recordings {
		use := toned("used", Good)
		if !rec.Usable {
			use = toned("refused", Bad)
		}
		t.add(count(rec.Row), Cell{Text: rec.File, Link: rec.File, Here: true}, words(seatingName(rec)), use,
			words(strconv.Itoa(rec.Used)+" of "+strconv.Itoa(rec.Repeats)), number(rec.DriftPPM, 1), words(oneLine(rec.Seal)), words(oneLine(rec.Notes)))
	}
	return t
}

// LeakTable lists what the leak costs per fixture seating and ear.
func LeakTable(r Results) Table {
	t := Table{Name: "leaks", Title: "Seal of each fixture seating", Note: "Loss against the best-sealed reference, with the " + percent(r.Options.Confidence) + " interval.",
		Columns: []Column{{Head: "Model", Key: "model", Repeat: true}, {Head: "No.", Key: "seating", Kind: Number, Repeat: true}, {Head: "Ear", Key: "ear", Repeat: true},
			{Head: "Class", Key: "class"}, {Head: "Corner\nHz", Key: "corner_hz", Kind: Interval},
			{Head: "Loss 20 Hz\ndB", Key: "loss_20hz_db", Kind: Interval}, {Head: "Loss 50 Hz\ndB", Key: "loss_50hz_db", Kind: Interval}, {Head: "Loss 100 Hz\ndB", Key: "loss_100hz_db", Kind: Interval}}}
	k := quantile(r.Options.Confidence, 0)
	for _, s := range fixtureSeatings(r) {
		if s.offset == nil {
			continue
		}
		for _, ear := range capture.Ears {
			l := s.offset.Leak[ear]
			row := []Cell{words(s.model.Model), count(s.verdict.Seating), words(ear.String()), words(l.Class), none()}
			if l.CornerHz > 0 {
				row[4] = spread(l.CornerHz, k*l.CornerSE)
			}
			for i := range l.LossDB {
				if l.Class == "open" {
					row = append(row, none())
					continue
				}
				row = append(row, spread(l.LossDB[i], k*l.LossSE[i]))
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}
