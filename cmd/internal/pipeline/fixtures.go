package pipeline

import (
	"bytes"
	"encoding/json"
	"io"
	"path/filepath"
	"slices"

	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr/between"
	"asworn/fitcorr/seat"
	"asworn/report"
	"asworn/report/curves"
	"asworn/report/page"
	"asworn/report/tabulate"
)

// fixturesDir holds what compares the fixtures of a study, under results/.
const fixturesDir = "fixtures"

// fixturesPage is the page of the comparison in that folder.
const fixturesPage = "fixtures.html"

// FixturesPagePath is where the comparison of the fixtures of the study at dir is.
func FixturesPagePath(dir string) string {
	return resultdir.Path(dir, filepath.Join(fixturesDir, fixturesPage))
}

// CompareFixtures sets the results of a study's fixtures, in the order of names,
// side by side, and writes the page, tables, curves and JSON under results/fixtures.
func CompareFixtures(dir string, names []string, results []report.Results) (report.Fixtures, error) {
	out := report.Fixtures{Title: results[0].Title, Confidence: results[0].Options.Confidence, Names: names, ThirdsHz: results[0].ThirdsHz}
	for _, name := range modelsOf(results) {
		var fixtures []between.Fixture
		model := report.FixtureModel{Model: name}
		for i, r := range results {
			if f, ok := fixtureOf(names[i], name, r); ok {
				fixtures = append(fixtures, f)
			}
			for _, on := range r.Analysis.Models {
				if on.Model == name && on.Worn != nil {
					model.Places = append(model.Places, report.FixturePlace{Fixture: names[i], Mean: on.Worn.Mean})
				}
			}
		}
		for i, f := range fixtures {
			for _, g := range fixtures[i+1:] {
				model.Differences = append(model.Differences, between.Compare(f, g, out.Confidence)...)
			}
			model.People = append(model.People, between.People(f, out.Confidence)...)
		}
		out.Models = append(out.Models, model)
	}
	brief, thirds := tabulate.Fixtures(out)
	root := filepath.Join(resultdir.Root(dir), fixturesDir)
	var markdown bytes.Buffer
	for _, t := range append(brief, thirds...) {
		if err := resultdir.Render(filepath.Join(root, t.Name+".csv"), t.WriteCSV); err != nil {
			return out, err
		}
		if err := t.WriteMarkdown(&markdown); err != nil {
			return out, err
		}
	}
	for _, c := range curves.OfFixtures(out) {
		if err := resultdir.Render(filepath.Join(root, resultdir.CurvesDir, c.Name+".csv"), c.Write); err != nil {
			return out, err
		}
	}
	if err := resultdir.WriteFile(filepath.Join(root, "fixtures.md"), markdown.Bytes()); err != nil {
		return out, err
	}
	if err := resultdir.Render(filepath.Join(root, fixturesPage), func(w io.Writer) error { return page.WriteFixtures(w, out) }); err != nil {
		return out, err
	}
	return out, resultdir.Render(filepath.Join(root, "fixtures.json"), func(w io.Writer) error { return json.NewEncoder(w).Encode(out) })
}

// modelsOf names the models of all fixtures: each may have seen one that the others
// did not.
func modelsOf(results []report.Results) []string {
	var out []string
	for _, r := range results {
		for _, m := range r.Analysis.Models {
			if !slices.Contains(out, m.Model) {
				out = append(out, m.Model)
			}
		}
	}
	return out
}

// fixtureOf is what one fixture saw of a model; false when it saw nothing.
func fixtureOf(name, model string, r report.Results) (between.Fixture, bool) {
	f := between.Fixture{Name: name, Coupler: r.Coupler, ReferenceDB: r.ReferenceDB}
	for _, m := range r.Analysis.Models {
		if m.Model == model {
			f.Curves, f.Sensitivity = m.Curves, m.Sensitivity
		}
	}
	for _, rec := range r.Recordings {
		if rec.Usable && rec.Model == model && rec.OrdinaryOnFixture() {
			f.Seatings = append(f.Seatings, seat.Seating{ID: rec.File, Model: rec.Model, Subject: rec.Subject, Point: rec.Point, Number: rec.Number, Ears: rec.Ears})
		}
	}
	return f, len(f.Curves) > 0
}
