package view

import (
	"math"

	"asworn/fitcorr"
	"asworn/report/figure"
	"asworn/report/table"
	"asworn/report/text"
)

// finalFigures draws the final curve of each model, point and ear with its
// interval and the range of the seatings behind it.
func (r *View) finalFigures() []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if f.LevelDB == nil {
				continue
			}
			c := &figure.Curves{Hz: r.BandsHz, YLabel: "Level, " + r.LevelUnit, Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
			interval := figure.Series{Name: "mean, " + text.Percent(r.Options.Confidence) + " interval", Style: figure.Style{Tint: 1}}
			extremes := figure.Series{Name: "lowest to highest seating", Style: figure.Style{Tint: 0, Dash: 2, Thin: true}, Hidden: f.Used < 2}
			for i := range r.BandsHz {
				y, half, lo, hi := math.NaN(), math.NaN(), math.NaN(), math.NaN()
				if i < len(f.Valid) && f.Valid[i] && i < len(f.LevelDB) {
					y, half = f.LevelDB[i], at(f.HalfDB, i)
					lo, hi = at(f.LowDB, i), at(f.HighDB, i)
				}
				interval.Y, interval.Lower, interval.Upper = append(interval.Y, y), append(interval.Lower, y-half), append(interval.Upper, y+half)
				extremes.Y, extremes.Lower, extremes.Upper = append(extremes.Y, (lo+hi)/2), append(extremes.Lower, lo), append(extremes.Upper, hi)
			}
			interval.Group, extremes.Group = interval.Name, extremes.Name
			c.Series = []figure.Series{extremes, interval}
			out = append(out, figure.Figure{Name: string(figure.SectionFinal) + "-" + text.Slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear, Section: figure.SectionFinal, Model: m.Model, Ear: f.Ear,
				Title: m.Model + ", " + f.Ear + " ear, " + string(f.Point) + " point: final curve",
				Note:  "Mean of " + text.Plural(f.Used, "fixture seating") + " with the interval of its uncertainty budget." + notes(f), Curves: c})
		}
	}
	return figure.ShareByModel(out)
}

func notes(f fitcorr.FinalCurve) string {
	s := ""
	for _, n := range f.Notes {
		s += " " + text.Sentence(n)
	}
	return s
}

// at is v[i], NaN beyond its end.
func at(v []float64, i int) float64 {
	if i < len(v) {
		return v[i]
	}
	return math.NaN()
}

// budgetFigures draws each source of uncertainty per third octave.
func (r *View) budgetFigures() []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if len(f.Budget) == 0 {
				continue
			}
			c := &figure.Curves{Hz: r.ThirdsHz, YLabel: "Standard uncertainty, dB", Unit: "dB", Decimals: 2}
			for i, b := range f.Budget {
				st := figure.StyleFor(i)
				if b.Type == "combined" {
					st = figure.Style{}
				}
				c.Add(b.Source, b.StdDB, nil, st)
			}
			out = append(out, figure.Figure{Name: string(figure.SectionBudget) + "-" + text.Slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear, Section: figure.SectionBudget, Model: m.Model, Ear: f.Ear,
				Title: m.Model + ", " + f.Ear + " ear, " + string(f.Point) + " point: uncertainty budget",
				Note:  "Standard uncertainty of each source (JCGM 100:2008) and their combination, per third octave.", Curves: c})
		}
	}
	return figure.ShareByModel(out)
}

// memberTable lists which seatings went into each final curve, and why.
func (r *View) memberTable() table.Table {
	t := table.Table{Name: "final-curves", Title: "What the final curves are made of",
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
				t.Add(table.Word(m.Model), table.Word(string(f.Point)), table.Word(f.Ear), no, used, table.Word(text.Dash(text.OneLine(b.Why))))
			}
		}
	}
	return t
}

// budgetTable sums up each uncertainty budget: the RMS of each source over the
// third octaves of three ranges.
func (r *View) budgetTable() table.Table {
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
				row := []table.Cell{table.Word(m.Model), table.Word(string(f.Point)), table.Word(f.Ear), table.Word(text.OneLine(b.Source)), table.Word(b.Type)}
				for _, g := range ranges {
					row = append(row, rmsCell(r.ThirdsHz, b.StdDB, g))
				}
				t.Rows = append(t.Rows, row)
			}
		}
	}
	return t
}

func rmsCell(hz, v []float64, g [2]float64) table.Cell {
	var sum float64
	n := 0
	for i, f := range hz {
		if i < len(v) && f > g[0]*0.95 && f < g[1]*1.05 {
			sum += v[i] * v[i]
			n++
		}
	}
	if n == 0 {
		return table.None()
	}
	return table.Value(math.Sqrt(sum/float64(n)), 2)
}
