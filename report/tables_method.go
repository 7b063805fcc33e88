package report

import (
	"asworn/capture"
	"asworn/fitcorr"
)

// CorrectionTable says where corrections were applied and what they brought.
func CorrectionTable(r Results) Table {
	t := Table{Name: "corrections", Title: "Corrections", Note: "RMS distance to held-out curves from 1 kHz to 10 kHz, before and after.",
		Columns: []Column{{Head: "Model", Key: "model", Repeat: true}, {Head: "Seating", Key: "seating", Repeat: true}, {Head: "Point", Key: "point"},
			{Head: "Ear", Key: "ear"}, {Head: "Before\ndB", Key: "before_db", Kind: Number}, {Head: "After\ndB", Key: "after_db", Kind: Number},
			{Head: "Applied\nbands", Key: "applied_bands", Kind: Number}, {Head: "Withheld", Key: "withheld"}}}
	ix := newIndex(r)
	for _, m := range r.Analysis.Models {
		for _, c := range m.Corrections {
			n := 0
			for _, a := range c.Applied {
				if a {
					n++
				}
			}
			no := words(c.ID)
			if rec, ok := ix.recording(c.ID); ok {
				no = linked(fixed(float64(rec.Number), 0), rec.File)
			}
			t.add(words(m.Model), no, words(string(c.Point)), words(c.Ear), number(c.BeforeDB, 2), number(c.AfterDB, 2), count(n), words(dash(oneLine(c.Withheld))))
		}
	}
	return t
}

// SurveyTable says how well each position survey works.
func SurveyTable(r Results) Table {
	t := Table{Name: "survey", Title: "Position survey", Note: "Held out: error when a displacement is left out, in dB and turned around in mm or degrees. SD: of one seating's offset. A dash: axis not seen.",
		Columns: []Column{{Head: "Model", Key: "model", Repeat: true}, {Head: "Ear", Key: "ear", Repeat: true}, {Head: "Displacements", Key: "displacements", Kind: Number},
			{Head: "Method", Key: "method"}, {Head: "Held out\ndB", Key: "held_out_db", Kind: Number},
			{Head: "Held out\nforward mm", Key: "held_out_forward_mm", Kind: Number}, {Head: "Held out\nup mm", Key: "held_out_up_mm", Kind: Number}, {Head: "Held out\nrotation deg", Key: "held_out_rotation_deg", Kind: Number},
			{Head: "SD\nforward mm", Key: "sd_forward_mm", Kind: Number}, {Head: "SD\nup mm", Key: "sd_up_mm", Kind: Number}, {Head: "SD\nrotation deg", Key: "sd_rotation_deg", Kind: Number},
			{Head: "Condition", Key: "condition", Kind: Number}, {Head: "Warnings", Key: "warnings"}}}
	for _, m := range r.Analysis.Models {
		for _, ear := range capture.Ears {
			s := m.Survey[ear]
			if s == nil {
				continue
			}
			row := []Cell{words(m.Model), words(ear.String()), count(s.Displacements), words(s.Method), number(s.HeldOutDB, 2)}
			for _, v := range [][3]float64{s.HeldOutMM, s.PosteriorSD} {
				for _, a := range fitcorr.Axes {
					if !s.Visible[a] {
						row = append(row, none())
						continue
					}
					row = append(row, number(v[a], 2))
				}
			}
			t.Rows = append(t.Rows, append(row, number(s.Condition, 1), words(dash(join(s.Warnings)))))
		}
	}
	return t
}
