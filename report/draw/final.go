package draw

import (
	"math"

	"asworn/fitcorr"
	"asworn/fitcorr/correct"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/text"
)

// finalFigures draws the final curve of each model, point and ear with its
// interval and the range of the seatings behind it.
func finalFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if f.LevelDB == nil {
				continue
			}
			c := &figure.Curves{Hz: r.BandsHz, YLabel: "Level, " + string(r.LevelUnit), Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
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
			out = append(out, figure.Figure{Name: string(figure.SectionFinal) + "-" + text.Slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear.String(), Section: figure.SectionFinal, Model: m.Model, Ear: f.Ear.String(),
				Title: m.Model + ", " + f.Ear.String() + " ear, " + f.Point.Words() + ": final curve",
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
func budgetFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, f := range m.Curves {
			if len(f.Budget) == 0 {
				continue
			}
			c := &figure.Curves{Hz: r.ThirdsHz, YLabel: "Standard uncertainty, dB", Unit: "dB", Decimals: 2}
			for i, b := range f.Budget {
				st := figure.StyleFor(i)
				if b.Type == correct.Combined {
					st = figure.Style{}
				}
				c.Add(b.Source, b.StdDB, nil, st)
			}
			out = append(out, figure.Figure{Name: string(figure.SectionBudget) + "-" + text.Slug(m.Model) + "-" + string(f.Point) + "-" + f.Ear.String(), Section: figure.SectionBudget, Model: m.Model, Ear: f.Ear.String(),
				Title: m.Model + ", " + f.Ear.String() + " ear, " + f.Point.Words() + ": uncertainty budget",
				Note:  "Standard uncertainty of each source (JCGM 100:2008) and their combination, per third octave." + cutNote, Curves: c})
		}
	}
	figure.EachModel(out, func(of []figure.Figure) { figure.ShareWithin(of, scaleLoHz, scaleHiHz) })
	return out
}
