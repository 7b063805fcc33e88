// Package page writes a view as one self-contained HTML page and serves the
// live view at the fixture. It knows nothing of how tables and figures come about.
package page

import (
	"html/template"
	"io"
	"net/url"
	"slices"
	"strings"

	"asworn/docs"
	"asworn/report"
	"asworn/report/curves"
	"asworn/report/figure"
	"asworn/report/table"
	"asworn/report/text"
	"asworn/report/view"

	"github.com/yuin/goldmark"
)

// pageData is what the template sees.
type pageData struct {
	frame
	R        report.Results
	Counts   []string
	Answers  []pageAnswer
	Summary  []view.Section
	Cautions template.HTML
}

// pageAnswer is one model on the first screen, with the curve that matters.
type pageAnswer struct {
	view.Answer
	Curve *pageFigure // fixture minus worn; nil where it is not known
}

// Write writes a study as one self-contained HTML page: styles, script,
// plots and data are inside, nothing is fetched, and a content security policy
// forbids everything else. The same results give the same bytes. Its tables link
// the CSV files beside it, tables/NAME.csv, and those of curves, curves/NAME.csv.
func Write(w io.Writer, r *view.View) error { return write(w, r, true) }

// write writes the page, with links to CSV files when there are any beside it.
func write(w io.Writer, r *view.View, files bool) error {
	l := links{sheets: map[string]bool{}, csv: map[string]bool{}, tables: "tables/"}
	var of []curves.Curve
	if files {
		for _, t := range r.Tables().All() {
			l.csv[t.Name] = true
		}
		of = r.Curves()
	}
	title := titleOf(r.Title)
	f, err := frame{Title: title, Tab: title, Skip: "Skip to the verdicts"}.filled("Verdicts", pageSections(r, &l), of, place{"methods", "Methods"}, place{"cautions", "Cautions"})
	if err != nil {
		return err
	}
	d := pageData{frame: f, R: r.Results, Counts: counts(r), Answers: pageAnswers(r),
		Summary: slices.DeleteFunc(r.Sections(), func(s view.Section) bool { return s.Verdicts })}
	if d.Cautions, err = cautionsHTML(); err != nil {
		return err
	}
	t, err := pageTemplate("page.html", l)
	if err != nil {
		return err
	}
	if err := d.draw(t); err != nil {
		return err
	}
	return t.Execute(w, d)
}

func pageTemplate(name string, l links) (*template.Template, error) {
	return template.New(name).Funcs(template.FuncMap{
		"percent": text.Percent,
		"glyph":   func(t table.Tone) template.HTML { return template.HTML(figure.Glyph(t, 8, 8)) },
		"tone":    func(t table.Tone) string { return t.String() },
		"head":    func(s string) string { return text.OneLine(s) },
		"worn":    func(shape int) string { return figure.WornMark(shape, 17, 8) },
		"cell":    func(c table.Column) bool { return c.Right() },
		"wide":    func(t table.Table, i int) bool { return t.Wide(i) },
		"anchor":  anchor,
		"rows":    l.rows,
		"to":      l.to,
		"csv":     func(name string) bool { return l.csv[name] },
		"file":    func(name string) string { return l.tables + name + ".csv" },
		"report":  reportOf,
	}).ParseFS(assets, name, "parts.html")
}

// cautionsHTML renders the project's own page; goldmark leaves raw HTML out.
func cautionsHTML() (template.HTML, error) {
	_, body, _ := strings.Cut(docs.Cautions(), "\n") // the section has its own title
	var b strings.Builder
	if err := goldmark.Convert([]byte(body), &b); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}

func counts(r *view.View) []string {
	people, refused := map[string]bool{}, 0
	for _, rec := range r.Recordings {
		if !rec.OnFixture() {
			people[rec.Subject] = true
		}
		if !rec.Usable {
			refused++
		}
	}
	return []string{text.Plural(len(r.Analysis.Models), "model"), text.Plural(len(people), "listener"),
		text.Plural(len(r.Recordings), "recording"), text.Fixed(float64(refused), 0) + " rejected"}
}

// pageAnswers puts each model's verdicts beside its curve.
func pageAnswers(r *view.View) []pageAnswer {
	var out []pageAnswer
	for _, a := range r.Answers() {
		p := pageAnswer{Answer: a}
		for _, f := range r.Figures() {
			if f.Section == figure.SectionDifference && f.Model == a.Model {
				f.Name, f.Title = "first-"+f.Name, "Fixture minus worn mean"
				c := *f.Curves
				c.DBPerDecade = figure.LevelAspect // not as high, to stand beside the table
				f.Curves = &c
				p.Curve = &pageFigure{Figure: f}
				break
			}
		}
		out = append(out, p)
	}
	return out
}

// pageSections puts tables and figures in reading order.
func pageSections(r *view.View, l *links) pageBuilder {
	p := pageBuilder{figures: r.Figures()}
	t := r.Tables()
	p.section(figure.SectionSeatings, "Fixture seatings", "Each fixture seating against those that the panel wore. Mark and word say the same: ● use, ▲ move or reseal, ○ undetermined, × rejected.", false,
		append(p.sheets(r, l), tables(true, t.Fixture, t.FixtureOffsets))...)
	p.section("findings", "Quality findings", "What was found about recordings, rejections first. A file name leads to its seating or to its row in the list of recordings.", true,
		tables(false, t.Findings), tables(false, t.StandOuts))
	p.section(figure.SectionFinal, "Final curves", "What the fixture says about each model: the mean over the seatings that count, corrected where that helps.", true,
		append(p.blocks(figure.SectionFinal), tables(true, t.Members))...)
	p.section(figure.SectionCompensated, compensatedTitle(r), compensatedIntro(r), true, p.blocks(figure.SectionCompensated)...)
	p.section(figure.SectionDifference, "Fixture minus worn", "The mean of the fixture seatings minus the mean of the worn ones.", false, p.blocks(figure.SectionDifference)...)
	p.section(figure.SectionWorn, "Worn and fixture levels", "Levels at the blocked ear-canal entrance. Tick a listener or a fixture seating to see its curves.", true, p.blocks(figure.SectionWorn)...)
	p.section(figure.SectionMap, "Offsets", "Side view of the head axes, the nose to the right for both ears. All maps have one scale.", true,
		append(p.blocks(figure.SectionMap), tables(true, t.Listeners, t.Models))...)
	p.section(figure.SectionLeak, "Seal", "Leakage loss at 50 Hz.", true, append(p.blocks(figure.SectionLeak), tables(true, t.Leaks))...)
	p.section(figure.SectionCorrected, "Corrected and raw", "For seatings that cannot be redone: the level change from offset and leak to the sample mean. "+
		"It assumes that the relation of blocked ear-canal entrance to drum reference point does not depend on the position (near open-entrance loading); ear shape is never corrected.", false,
		append(p.blocks(figure.SectionCorrected), tables(true, t.Corrections))...)
	p.section(figure.SectionSensitivity, "Fit sensitivity", "How much the response depends on how the headphone sits.", true,
		append(append([]pageBlock{tables(false, t.Sensitivity)}, p.blocks(figure.SectionSensitivity)...), tables(true, t.Repeatability...))...)
	p.section(figure.SectionSurvey, "Sensitivity to position", "Level change per millimetre and degree, from the position survey.", false,
		append(p.blocks(figure.SectionSurvey), tables(false, t.Survey))...)
	p.section(figure.SectionBudget, "Uncertainty budget", "Where the interval of each final curve comes from.", false,
		append([]pageBlock{tables(true, t.Budget)}, p.blocks(figure.SectionBudget)...)...)
	p.section("exposure", "Sound exposure", "What each listener heard; read the cautions below.", true, tables(false, t.Exposure))
	p.section("recordings", "Recordings", "Every row of the seating sheet.", false, tables(false, t.Recordings))
	return p
}

func compensatedTitle(r *view.View) string {
	if r.ReferenceDB == nil {
		return "Drum reference point"
	}
	return "Compensated and raw"
}

func compensatedIntro(r *view.View) string {
	if r.ReferenceDB == nil {
		return "Curves as measured: the study names no reference of this fixture to compare them with."
	}
	return "The curve at the drum reference point minus the fixture's own reference, or raw, at the same scale. A reference is never carried to another fixture."
}

// reportOf is the address of a fixture's own report.
func reportOf(name string) string { return "../" + url.PathEscape(name) + "/report.html" }
