package tabulate

import (
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/survey"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// correctionTable says where corrections were applied and what they brought.
func correctionTable(r *judged.Study) table.Table {
	t := table.Table{Name: "corrections", Title: "Corrections", Note: "RMS distance to held-out curves from 1 kHz to 10 kHz, before and after.",
		Columns: []table.Column{modelColumn, {Head: "Seating", Key: "seating", Repeat: true}, {Head: "Point", Key: "point"},
			{Head: "Ear", Key: "ear"}, {Head: "Before\ndB", Key: "before_db", Kind: table.Number}, {Head: "After\ndB", Key: "after_db", Kind: table.Number},
			{Head: "Applied\nbands", Key: "applied_bands", Kind: table.Number}, {Head: "Withheld", Key: "withheld"}}}
	for _, m := range r.Analysis.Models {
		for _, c := range m.Corrections {
			n := 0
			for _, a := range c.Applied {
				if a {
					n++
				}
			}
			no := table.Word(c.ID)
			if rec, ok := r.Recording(c.ID); ok {
				no = table.Linked(text.Fixed(float64(rec.Number), 0), rec.File)
			}
			t.Add(table.Word(m.Model), no, pointCell(c.Point), table.Word(c.Ear.String()), table.Value(c.BeforeDB, 2), table.Value(c.AfterDB, 2), table.Count(n), table.Word(text.Dash(text.OneLine(c.Withheld))))
		}
	}
	return t
}

// surveyTable says how well each position survey works.
func surveyTable(r *judged.Study) table.Table {
	t := table.Table{Name: "survey", Title: "Position survey", Note: "Held out: error when a displacement is left out, in dB and turned around in mm or degrees. SD: of one seating's offset. A dash: axis not seen.",
		Columns: []table.Column{modelColumn, earColumn, {Head: "Displacements", Key: "displacements", Kind: table.Number},
			{Head: "Method", Key: "method"}, {Head: "Held out\ndB", Key: "held_out_db", Kind: table.Number},
			{Head: "Held out\nforward mm", Key: "held_out_forward_mm", Kind: table.Number}, {Head: "Held out\nup mm", Key: "held_out_up_mm", Kind: table.Number}, {Head: "Held out\nrotation deg", Key: "held_out_rotation_deg", Kind: table.Number},
			{Head: "SD\nforward mm", Key: "sd_forward_mm", Kind: table.Number}, {Head: "SD\nup mm", Key: "sd_up_mm", Kind: table.Number}, {Head: "SD\nrotation deg", Key: "sd_rotation_deg", Kind: table.Number},
			{Head: "Condition", Key: "condition", Kind: table.Number}, {Head: "Warnings", Key: "warnings"}}}
	for _, m := range r.Analysis.Models {
		at := []*survey.Report{m.Survey[0], m.Survey[1]}
		if m.DrumSurvey != nil {
			at = append(at, m.DrumSurvey[:]...)
		}
		for i, s := range at {
			if s == nil {
				continue
			}
			ear := capture.Ear(i % 2).String()
			if i >= 2 {
				ear += ", " + capture.Drum.Words()
			}
			row := []table.Cell{table.Word(m.Model), table.Word(ear), table.Count(s.Displacements), table.Word(s.Method), table.Value(s.HeldOutDB, 2)}
			for _, v := range [][3]float64{s.HeldOutMM, s.PosteriorSD} {
				for _, a := range fitcorr.Axes {
					if !s.Visible[a] {
						row = append(row, table.None())
						continue
					}
					row = append(row, table.Value(v[a], 2))
				}
			}
			t.Rows = append(t.Rows, append(row, table.Value(s.Condition, 1), table.Word(text.Dash(text.Join(s.Warnings)))))
		}
	}
	return t
}

// recordingTable lists every recording with what became of it.
func recordingTable(r *judged.Study) table.Table {
	t := table.Table{Name: "recordings", Title: "Recordings", Columns: []table.Column{
		{Head: "Row", Key: "row", Kind: table.Number, Repeat: true}, {Head: "File", Key: "file", Repeat: true}, {Head: "Seating", Key: "seating"},
		{Head: "Use", Key: "use"}, {Head: "Repeats\nused of", Key: "repeats"}, {Head: "Drift\nppm", Key: "drift_ppm", Kind: table.Number},
		{Head: "Seal", Key: "seal"}, {Head: "Notes", Key: "notes"}}}
	for _, rec := range r.Recordings {
		use := table.Toned("used", table.Good)
		if !rec.Usable {
			use = table.Toned("rejected", table.Bad)
		}
		t.Add(table.Count(rec.Row), table.Cell{Text: rec.File, Link: rec.File, Here: true}, table.Word(judged.NameOf(rec)), use,
			table.Word(strconv.Itoa(rec.Used)+" of "+strconv.Itoa(rec.Repeats)), table.Value(rec.DriftPPM, 1), table.Word(text.OneLine(rec.Seal)), table.Word(text.OneLine(rec.Notes)))
	}
	return t
}

// leakTable lists what the leak costs per fixture seating and ear.
func leakTable(r *judged.Study) table.Table {
	t := table.Table{Name: "leaks", Title: "Seal of each fixture seating", Note: "Loss against the best-sealed reference, with the " + text.Percent(r.Options.Confidence) + " interval.",
		Columns: []table.Column{modelColumn, seatingColumn, earColumn,
			{Head: "Class", Key: "class"}, {Head: "Corner\nHz", Key: "corner_hz", Kind: table.Interval},
			{Head: "Loss 20 Hz\ndB", Key: "loss_20hz_db", Kind: table.Interval}, {Head: "Loss 50 Hz\ndB", Key: "loss_50hz_db", Kind: table.Interval}, {Head: "Loss 100 Hz\ndB", Key: "loss_100hz_db", Kind: table.Interval}}}
	for _, s := range r.Seatings {
		if s.Offset == nil {
			continue
		}
		for _, ear := range capture.Ears {
			l := s.Offset.Leak[ear]
			row := []table.Cell{table.Word(s.Model.Model), table.Count(s.Verdict.Seating), table.Word(ear.String()), table.Word(string(l.Class)), table.None()}
			if l.CornerHz > 0 {
				row[4] = table.PlusMinus(l.CornerHz, l.CornerHalf(r.Options.Confidence))
			}
			for i := range l.LossDB {
				if l.Class == seal.Open {
					row = append(row, table.None())
					continue
				}
				row = append(row, table.PlusMinus(l.LossDB[i], l.LossHalf(i, r.Options.Confidence)))
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}
