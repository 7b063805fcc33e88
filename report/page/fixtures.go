package page

import (
	"io"
	"slices"

	"asworn/report"
	"asworn/report/curves"
	"asworn/report/draw"
	"asworn/report/figure"
	"asworn/report/table"
	"asworn/report/tabulate"
)

// fixturesData is what the template of the comparison sees.
type fixturesData struct {
	frame
	Names   []string
	Brief   []table.Table
	Missing []string
}

// WriteFixtures writes the comparison of a study's fixtures as one self-contained
// page, as Write does. It links the report of each fixture, ../NAME/report.html, and
// the CSV file of each table, NAME.csv, and the text file of each curve,
// curves/NAME.csv, beside it.
func WriteFixtures(w io.Writer, r report.Fixtures) error {
	brief, thirds := tabulate.Fixtures(r)
	p := pageBuilder{figures: draw.Fixtures(r)}
	p.section(figure.SectionFixtureModels, "Models side by side", "How far each model's curve depends on the fixture, once position and seal are taken out.", true, p.blocks(figure.SectionFixtureModels)...)
	p.section(figure.SectionFixtures, "Fixture against fixture", "Per model: as measured, once position and seal are taken out, and compensated, each fixture with its own reference.", true,
		p.blocks(figure.SectionFixtures)...)
	p.section(figure.SectionFixturePeople, "Fixture against people", "Fixture minus the mean of the worn seatings at the blocked ear-canal entrance.", true, p.blocks(figure.SectionFixturePeople)...)
	p.section("thirds", "Per third octave", "The values behind the plots.", false, tables(true, thirds...))
	title := titleOf(r.Title)
	f, err := frame{Title: title + ": fixtures compared", Tab: title + ": fixtures", Skip: "Skip to the comparison"}.filled("Comparison", p, curves.OfFixtures(r))
	if err != nil {
		return err
	}
	l := links{csv: map[string]bool{}}
	for _, t := range slices.Concat(brief, thirds) {
		l.csv[t.Name] = true
	}
	t, err := pageTemplate("fixtures.html", l)
	if err != nil {
		return err
	}
	if err := f.draw(t); err != nil {
		return err
	}
	return t.Execute(w, fixturesData{frame: f, Names: r.Names, Brief: brief, Missing: notCompared(r)})
}

// notCompared says what is not there, and what to record for it.
func notCompared(r report.Fixtures) []string {
	var out []string
	for _, m := range r.Models {
		people, apart, placed := map[string]bool{}, map[string]bool{}, map[string]bool{}
		for _, p := range m.People {
			people[p.Fixture] = people[p.Fixture] || p.LeftDB != nil
		}
		for _, d := range m.Differences {
			if d.FinalDB != nil {
				apart[d.First], apart[d.Second] = true, true
			}
		}
		for _, p := range m.Places {
			placed[p.Fixture] = true
		}
		for _, name := range r.Names {
			at := m.Model + " on " + name
			if !placed[name] {
				out = append(out, at+": the worn mean is not known; it needs a survey of this fixture and worn seatings of the model.")
			}
			if !apart[name] {
				out = append(out, at+": no final curve to set against another fixture's; it needs an ordinary seating there that is to be used or could be corrected.")
			}
			if !people[name] {
				out = append(out, at+": not set against people with position and seal taken out; it needs ordinary seatings at the blocked ear-canal entrance, on the fixture, that are to be used or could be corrected, beside the worn ones.")
			}
		}
	}
	return out
}
