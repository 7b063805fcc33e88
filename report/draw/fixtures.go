package draw

import (
	"math"

	"asworn/fitcorr/between"
	"asworn/report"
	"asworn/report/figure"
	"asworn/report/text"
)

// Fixtures draws how the fixtures of a study differ: the models side by side, then
// per model fixtures against each other and each against people.
func Fixtures(r report.Fixtures) []figure.Figure {
	var apart, people []figure.Figure
	for _, m := range r.Models {
		for _, d := range m.Differences {
			apart = append(apart, differenceOfTwo(r, m.Model, d)...)
		}
		for _, p := range m.People {
			people = append(people, fixtureFromPeople(r, m.Model, p))
		}
	}
	out := append(modelsApart(r), figure.ShareByModel(apart)...)
	out = append(out, figure.ShareByModel(people)...)
	distinct := text.Names{}
	for i := range out {
		out[i].Name = distinct.Next(out[i].Name)
	}
	return out
}

func thirds(r report.Fixtures, label string) *figure.Curves {
	return &figure.Curves{Hz: r.ThirdsHz, YLabel: label, Unit: "dB", Decimals: 1, DBPerDecade: figure.DifferenceAspect}
}

// twoFixtures names what is subtracted from what.
func twoFixtures(d between.Difference) string { return d.First + " minus " + d.Second }

// withInterval is a line with the same interval about it below and above.
func withInterval(name string, y, half []float64, valid []bool, st figure.Style) figure.Series {
	s := figure.Series{Name: name, Group: name, Style: st}
	for i := range y {
		v, h := y[i], half[i]
		if !valid[i] {
			v, h = math.NaN(), math.NaN()
		}
		s.Y, s.Lower, s.Upper = append(s.Y, v), append(s.Lower, v-h), append(s.Upper, v+h)
	}
	return s
}

// differenceOfTwo is what two fixtures differ by, raw and, where both have a
// reference, compensated each with its own.
func differenceOfTwo(r report.Fixtures, model string, d between.Difference) []figure.Figure {
	of := figure.Figure{Section: figure.SectionFixtures, Model: model, Ear: d.Ear.String(), View: "raw",
		Name:  text.Slug("fixtures " + model + " " + string(d.Point) + " " + d.Ear.String() + " " + twoFixtures(d)),
		Title: model + ", " + d.Ear.String() + " ear, " + d.Point.Words() + ": " + twoFixtures(d)}
	c := thirds(r, "Difference, dB")
	raw := of
	raw.Curves = c
	if d.FinalDB == nil {
		c.Add("as measured", d.MeasuredDB, d.Valid, figure.Style{Tint: 1, Dash: 1})
		raw.View, raw.Note = "", "Per third octave, as measured: one of the fixtures has no seating that is to be used or could be corrected, so that position and seal are in it."
		return []figure.Figure{raw}
	}
	c.Series = append(c.Series, withInterval("final: position and seal taken out", d.FinalDB, d.HalfDB, d.Valid, figure.Style{}))
	c.Add("as measured", d.MeasuredDB, d.Valid, figure.Style{Tint: 1, Dash: 1})
	raw.Note = "Per third octave, with the " + text.Percent(r.Confidence) + " interval of the two uncertainty budgets. " +
		"Position and seal explain " + text.Fixed(100*d.Explained, 0) + " % of the mean square of what was measured."
	if d.CompensatedDB == nil {
		raw.View = ""
		return []figure.Figure{raw}
	}
	of.View, of.Name, of.Title = "compensated", of.Name+"-compensated", of.Title+", compensated"
	of.Curves = thirds(r, "Difference, dB")
	of.Curves.Series = append(of.Curves.Series, withInterval("final, each less its own reference", d.CompensatedDB, d.HalfDB, d.Valid, figure.Style{}))
	of.Note = "Per third octave, each fixture's final curve less the reference of that fixture; the interval adds nothing for the references."
	return []figure.Figure{of, raw}
}

func fixtureFromPeople(r report.Fixtures, model string, p between.FromPeople) figure.Figure {
	c := thirds(r, "Fixture minus worn, dB")
	note := "At the blocked ear-canal entrance, per third octave, as measured: no seating there is to be used or could be corrected, so that position and seal are in it."
	if p.LeftDB != nil {
		c.Series = append(c.Series, withInterval("position and seal taken out", p.LeftDB, p.HalfDB, p.Valid, figure.Style{}))
		note = "At the blocked ear-canal entrance, per third octave, with the " + text.Percent(r.Confidence) + " interval: the fixture's own ear, and what could not be taken out."
	}
	c.Add("as measured", p.MeasuredDB, p.Valid, figure.Style{Tint: 1, Dash: 1})
	return figure.Figure{Section: figure.SectionFixturePeople, Model: model, Ear: p.Ear.String(), Name: text.Slug("people " + model + " " + p.Fixture + " " + p.Ear.String()),
		Title: model + ", " + p.Ear.String() + " ear: fixture " + p.Fixture + " minus people",
		Note:  note, Curves: c}
}

// modelsApart sets the models side by side: what is left between two fixtures.
func modelsApart(r report.Fixtures) []figure.Figure {
	var out []figure.Figure
	at := map[string]int{}
	for i, m := range r.Models {
		for _, d := range m.Differences {
			if d.FinalDB == nil {
				continue
			}
			key := string(d.Point) + " " + d.Ear.String() + " " + twoFixtures(d)
			k, ok := at[key]
			if !ok {
				k, at[key] = len(out), len(out)
				out = append(out, figure.Figure{Section: figure.SectionFixtureModels, Ear: d.Ear.String(), Name: text.Slug("models " + key),
					Title:  "Models side by side, " + d.Ear.String() + " ear, " + d.Point.Words() + ": " + twoFixtures(d),
					Note:   "Final curves, position and seal taken out. Models that lie on one line differ between the fixtures alike: the fixtures' ears; a model that leaves it depends on the fixture.",
					Curves: thirds(r, "Difference, dB")})
			}
			out[k].Curves.Add(m.Model, d.FinalDB, d.Valid, figure.StyleFor(i))
		}
	}
	return figure.ShareScale(out)
}
