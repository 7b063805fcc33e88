package curves

import (
	"fmt"

	"asworn/capture"
	"asworn/fitcorr/between"
	"asworn/fitcorr/seat"
	"asworn/report"
	"asworn/report/text"
)

// OfFixtures returns the curves of a comparison of fixtures, model by model: first
// minus second fixture, raw and compensated, and each fixture minus the worn mean;
// position and seal taken out. Third octaves.
func OfFixtures(r report.Fixtures) []Curve {
	names := text.Names{}
	var out []Curve
	for _, m := range r.Models {
		add := func(name, what, about string, y, half []float64, valid []bool) {
			c := Curve{Title: text.OneLine(m.Model + ", " + what), What: text.OneLine(what), About: about, Unit: "dB", Model: m.Model, Confidence: r.Confidence}
			if c.take(r.ThirdsHz, seat.Level{DB: y, Half: half, Valid: valid}) {
				c.Name = names.Next(text.Slug(m.Model) + "-" + name)
				out = append(out, c)
			}
		}
		for _, d := range m.Differences {
			name, what := differenceName(d)
			const about = "of the two uncertainty budgets as if they shared nothing"
			add(name+"-final", what+", position and seal taken out", about, d.FinalDB, d.HalfDB, d.Valid)
			add(name+"-compensated", what+", position and seal taken out, each less its own fixture's reference", about, d.CompensatedDB, d.HalfDB, d.Valid)
		}
		for _, p := range m.People {
			add(text.Slug(p.Fixture)+"-people-"+p.Ear.String(), fmt.Sprintf("fixture %s minus the worn mean, %s, %s ear, position and seal taken out", p.Fixture, capture.Blocked.Words(), p.Ear.String()),
				"of the difference from people and of the final curve as if they shared nothing", p.LeftDB, p.HalfDB, p.Valid)
		}
	}
	return out
}

func differenceName(d between.Difference) (name, what string) {
	return text.Slug(d.First+"-"+d.Second) + "-" + string(d.Point) + "-" + d.Ear.String(),
		fmt.Sprintf("fixture %s minus fixture %s, %s, %s ear", d.First, d.Second, d.Point.Words(), d.Ear.String())
}
