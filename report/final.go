package report

import (
	"math"

	"asworn/fitcorr"
)

// finalFigures draws the final curve of each model, point and ear with its
// interval and the range of the seatings behind it.
func finalFigures(r Results) []Figure {
	var out []Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if f.LevelDB == nil {
				continue
			}
			c := &Curves{Hz: r.BandsHz, YLabel: "Level, " + r.LevelUnit, Unit: "dB", Decimals: 1, DBPerDecade: levelAspect}
			interval := Series{Name: "mean, " + percent(r.Options.Confidence) + " interval", Style: Style{Tint: 1}}
			extremes := Series{Name: "lowest to highest seating", Style: Style{Tint: 0, Dash: 2, Thin: true}, Hidden: f.Used < 2}
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
			c.Series = []Series{extremes, interval}
			out = append(out, Figure{Name: SectionFinal + "-" + slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear, Section: SectionFinal, Model: m.Model, Ear: f.Ear,
				Title: m.Model + ", " + f.Ear + " ear, " + string(f.Point) + " point: final curve",
				Note:  "Mean of " + plural(f.Used, "fixture seating") + " with the interval of its uncertainty budget." + notes(f), Curves: c})
		}
	}
	return shareByModel(out)
}

func notes(f fitcorr.FinalCurve) string {
	s := ""
	for _, n := range f.Notes {
		s += " " + sentence(n)
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
func budgetFigures(r Results) []Figure {
	var out []Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if len(f.Budget) == 0 {
				continue
			}
			c := &Curves{Hz: r.ThirdsHz, YLabel: "Standard uncertainty, dB", Unit: "dB", Decimals: 2}
			for i, b := range f.Budget {
				st := styleFor(i)
				if b.Type == "combined" {
					st = Style{}
				}
				c.add(b.Source, b.StdDB, nil, st)
			}
			out = append(out, Figure{Name: SectionBudget + "-" + slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear, Section: SectionBudget, Model: m.Model, Ear: f.Ear,
				Title: m.Model + ", " + f.Ear + " ear, " + string(f.Point) + " point: uncertainty budget",
				Note:  "Standard uncertainty of each source (JCGM 100:2008) and their combination, per third octave.", Curves: c})
		}
	}
	return shareByModel(out)
}

// MemberTable lists which seatings went into each final curve, and why.
func MemberTable(r Results) Table {
	t := Table{Name: "final-curves", Title: "What the final curves are made of",
		Columns: []Column{{Head: "Model", Key: "model", Repeat: true}, {Head: "Point", Key: "point", Repeat: true}, {Head: "Ear", Key: "ear", Repeat: true},
			{Head: "No.", Key: "seating", Kind: Number}, {Head: "Used", Key: "used"}, {Head: "Why", Key: "why"}}}
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			for _, b := range f.Members {
				used := words("left out")
				switch {
				case b.Used && b.Corrected:
					used = words("corrected")
				case b.Used:
					used = words("as measured")
				}
				no := count(b.Seating)
				no.Link = b.ID
				t.add(words(m.Model), words(string(f.Point)), words(f.Ear), no, used, words(dash(oneLine(b.Why))))
			}
		}
	}
	return t
}

// BudgetTable sums up each uncertainty budget: the RMS of each source over the
// third octaves of three ranges.
func BudgetTable(r Results) Table {
	t := Table{Name: "uncertainty", Title: "Uncertainty budget of the final curves",
		Note: "Standard uncertainty in dB (JCGM 100:2008), RMS over the third octaves of each range. Type A: statistics of this study; B: otherwise.",
		Columns: []Column{{Head: "Model", Key: "model", Repeat: true}, {Head: "Point", Key: "point", Repeat: true}, {Head: "Ear", Key: "ear", Repeat: true},
			{Head: "Source", Key: "source"}, {Head: "Type", Key: "type"}}}
	ranges := [][2]float64{{20, 200}, {200, 2000}, {2000, 16000}}
	for _, g := range ranges {
		t.Columns = append(t.Columns, Column{Head: hertz(g[0]) + "–" + hertz(g[1]) + "\nHz", Key: "rms_" + fixed(g[0], 0) + "_" + fixed(g[1], 0) + "_db", Kind: Number})
	}
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			for _, b := range f.Budget {
				row := []Cell{words(m.Model), words(string(f.Point)), words(f.Ear), words(oneLine(b.Source)), words(b.Type)}
				for _, g := range ranges {
					row = append(row, rmsCell(r.ThirdsHz, b.StdDB, g))
				}
				t.Rows = append(t.Rows, row)
			}
		}
	}
	return t
}

func rmsCell(hz, v []float64, g [2]float64) Cell {
	var sum float64
	n := 0
	for i, f := range hz {
		if i < len(v) && f > g[0]*0.95 && f < g[1]*1.05 {
			sum += v[i] * v[i]
			n++
		}
	}
	if n == 0 {
		return none()
	}
	return number(math.Sqrt(sum/float64(n)), 2)
}
