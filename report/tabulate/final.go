package tabulate

import (
	"asworn/fitcorr"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// memberTable lists which seatings went into each final curve, and why.
func memberTable(r *judged.Study) table.Table {
	t := table.Table{Name: "final-curves", Title: "What the final curves are made of",
		Note: "A final curve is the mean of the seatings that sit as worn, as measured, and of those off their place, corrected to the sample mean; undetermined ones stay out. Curves less the fixture's reference are these same curves.",
		Columns: []table.Column{modelColumn, pointColumn, earColumn,
			{Head: "No.", Key: "seating", Kind: table.Number}, {Head: "Used", Key: "used"}, {Head: "Why", Key: "why"}}}
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			for _, b := range f.Members {
				used := table.Word("left out")
				switch {
				case b.Used && b.Corrected:
					used = table.Word("corrected")
				case b.Used:
					used = table.Word("as measured")
				}
				no := table.Count(b.Seating)
				no.Link = b.ID
				t.Add(table.Word(m.Model), pointCell(f.Point), table.Word(f.Ear.String()), no, used, table.Word(text.Dash(text.OneLine(b.Why))))
			}
		}
	}
	return t
}

// budgetTable sums up each uncertainty budget: the RMS of each source over the
// third octaves of three ranges.
func budgetTable(r *judged.Study) table.Table {
	t := table.Table{Name: "uncertainty", Title: "Uncertainty budget of the final curves",
		Note: "Standard uncertainty in dB (JCGM 100:2008), RMS over the third octaves of each range. Type A: statistics of this study; B: otherwise.",
		Columns: []table.Column{modelColumn, pointColumn, earColumn,
			{Head: "Source", Key: "source"}, {Head: "Type", Key: "type"}}}
	ranges := [][2]float64{{20, 200}, {200, 2000}, {2000, 16000}}
	for _, g := range ranges {
		t.Columns = append(t.Columns, table.Column{Head: text.Hertz(g[0]) + "–" + text.Hertz(g[1]) + "\nHz", Key: "rms_" + text.Fixed(g[0], 0) + "_" + text.Fixed(g[1], 0) + "_db", Kind: table.Number})
	}
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			for _, b := range f.Budget {
				row := []table.Cell{table.Word(m.Model), pointCell(f.Point), table.Word(f.Ear.String()), table.Word(text.OneLine(b.Source)), table.Word(string(b.Type))}
				for _, g := range ranges {
					row = append(row, rmsCell(b, r.ThirdsHz, g))
				}
				t.Rows = append(t.Rows, row)
			}
		}
	}
	return t
}

func rmsCell(b fitcorr.BudgetRow, hz []float64, g [2]float64) table.Cell {
	if db, ok := b.RMS(hz, g[0], g[1]); ok {
		return table.Value(db, 2)
	}
	return table.None()
}
