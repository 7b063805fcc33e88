// Package page writes a view as one self-contained HTML page and serves the
// live view at the fixture. It knows nothing of how tables and figures come about.
package page

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"io"
	"slices"
	"strings"

	"asworn/docs"
	"asworn/report"
	"asworn/report/figure"
	"asworn/report/table"
	"asworn/report/text"
	"asworn/report/view"

	"github.com/yuin/goldmark"
)

//go:embed *.html *.css *.js
var assets embed.FS

// pageData is what the template sees.
type pageData struct {
	R        report.Results
	Title    string
	CSP      string
	CSS      template.CSS
	JS       template.JS
	Counts   []string
	Answers  []view.Answer
	Summary  []view.Section
	Sections []pageSection
	Data     []figureData
	Cautions template.HTML
}

type pageSection struct {
	ID           figure.Section
	Title, Intro string
	Blocks       []pageBlock
}

type pageBlock struct {
	Title   string
	Figures []pageFigure
	Tables  []table.Table
	Fold    bool // the tables are long: closed at first
}

type pageFigure struct {
	figure.Figure
	Index int // in pageData.Data
}

// Write writes a study as one self-contained HTML page: styles, script,
// plots and data are inside, nothing is fetched, and a content security policy
// forbids everything else. The same results give the same bytes.
func Write(w io.Writer, r *view.View) error {
	css, js, err := pageAssets()
	if err != nil {
		return err
	}
	t, err := pageTemplate("page.html")
	if err != nil {
		return err
	}
	cautions, err := cautionsHTML()
	if err != nil {
		return err
	}
	d := pageData{R: r.Results, Title: r.Title, CSS: template.CSS(css), JS: template.JS(js), CSP: policy(js),
		Counts: counts(r), Answers: r.Answers(), Cautions: cautions,
		Summary: slices.DeleteFunc(r.Sections(), func(s view.Section) bool { return s.Verdicts })}
	if d.Title == "" {
		d.Title = "Untitled study"
	}
	d.Sections, d.Data = pageSections(r)
	return t.Execute(w, d)
}

func pageAssets() (css, js string, err error) {
	c, err := assets.ReadFile("page.css")
	if err != nil {
		return "", "", err
	}
	j, err := assets.ReadFile("page.js")
	return string(c), string(j), err
}

// policy allows the page's own script by its hash and nothing from anywhere.
func policy(js string) string {
	sum := sha256.Sum256([]byte(js))
	return "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}

func pageTemplate(name string) (*template.Template, error) {
	return template.New(name).Funcs(template.FuncMap{
		"glyph":  func(t table.Tone) template.HTML { return template.HTML(figure.Glyph(t, 8, 8)) },
		"tone":   func(t table.Tone) string { return t.String() },
		"head":   func(s string) string { return text.OneLine(s) },
		"cell":   func(c table.Column) bool { return c.Right() },
		"wide":   func(t table.Table, i int) bool { return t.Wide(i) },
		"anchor": anchor,
	}).ParseFS(assets, name)
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

// anchor is the place of a seating on the page: a file name is anything, an id
// must hold no space.
func anchor(key string) string {
	sum := sha256.Sum256([]byte(key))
	return "s-" + base64.RawURLEncoding.EncodeToString(sum[:9])
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
		text.Plural(len(r.Recordings), "recording"), text.Fixed(float64(refused), 0) + " refused"}
}

// pageSections puts tables and figures in reading order.
func pageSections(r *view.View) ([]pageSection, []figureData) {
	p := pageBuilder{figures: r.Figures()}
	t := r.Tables()
	p.section("seatings", "Fixture seatings", "Each fixture seating against those that the panel wore. Mark and word say the same: ● use, ▲ move or reseal, ○ undetermined, × refused.",
		tables(false, t.Fixture), tables(true, t.FixtureOffsets))
	p.section(figure.SectionFinal, "Final curves", "What the fixture says about each model: the mean over the seatings that count, corrected where that helps.",
		append(p.blocks(figure.SectionFinal), tables(true, t.Members))...)
	p.section(figure.SectionWorn, "Worn against fixture", "Levels at the blocked canal entrance. Tick a listener to see each of their seatings.", p.blocks(figure.SectionWorn)...)
	p.section(figure.SectionMap, "Where each seating sits", "Side view of the head axes, the nose to the right for both ears. All maps have one scale.",
		append(p.blocks(figure.SectionMap), tables(true, t.Listeners), tables(false, t.Models))...)
	p.section(figure.SectionLeak, "Seal", "What the leak costs at 50 Hz.", append(p.blocks(figure.SectionLeak), tables(true, t.Leaks))...)
	p.section("findings", "Quality findings", "What was found about recordings, refusals first. A file name leads to its row in the list of recordings.",
		tables(false, t.Findings), tables(false, t.StandOuts))
	p.section(figure.SectionCorrected, "Corrected against raw", "For seatings that cannot be redone: the level change from offset and leak to the panel's mean. "+
		"It assumes that the relation of blocked entrance to drum does not depend on the position (near open-entrance loading); ear shape is never corrected.",
		append(p.blocks(figure.SectionCorrected), tables(true, t.Corrections))...)
	title, intro := "Compensated against raw", "The drum-point curve minus the fixture's own reference, and raw beside it at the same scale. A reference is never carried to another fixture."
	if r.ReferenceDB == nil {
		title, intro = "At the drum point", "Curves as measured: the study names no reference of this fixture to compare them with."
	}
	p.section(figure.SectionCompensated, title, intro, p.blocks(figure.SectionCompensated)...)
	p.section(figure.SectionSensitivity, "Fit sensitivity", "How much the response depends on how the headphone sits.",
		append(append([]pageBlock{tables(false, t.Sensitivity)}, p.blocks(figure.SectionSensitivity)...), tables(true, t.Repeatability...))...)
	p.section(figure.SectionSurvey, "How the response moves", "What the position survey says about each millimetre and degree.",
		append(p.blocks(figure.SectionSurvey), tables(false, t.Survey))...)
	p.section(figure.SectionBudget, "Uncertainty budget", "Where the interval of each final curve comes from.",
		append([]pageBlock{tables(true, t.Budget)}, p.blocks(figure.SectionBudget)...)...)
	p.section("exposure", "Sound exposure", "What each listener heard; read the cautions below.", tables(false, t.Exposure))
	p.section("recordings", "Recordings", "Every row of the seating sheet.", tables(true, t.Recordings))
	return p.sections, p.data
}

type pageBuilder struct {
	figures  []figure.Figure
	sections []pageSection
	data     []figureData
}

// section adds a section unless all its blocks are empty.
func (p *pageBuilder) section(id figure.Section, title, intro string, blocks ...pageBlock) {
	s := pageSection{ID: id, Title: title, Intro: intro}
	for _, b := range blocks {
		if len(b.Figures)+len(b.Tables) > 0 {
			s.Blocks = append(s.Blocks, b)
		}
	}
	if len(s.Blocks) > 0 {
		p.sections = append(p.sections, s)
	}
}

// blocks makes one block per model of a section's figures.
func (p *pageBuilder) blocks(section figure.Section) []pageBlock {
	var out []pageBlock
	for _, f := range p.figures {
		if f.Section != section {
			continue
		}
		if len(out) == 0 || out[len(out)-1].Title != f.Model {
			out = append(out, pageBlock{Title: f.Model})
		}
		b := &out[len(out)-1]
		b.Figures = append(b.Figures, pageFigure{f, len(p.data)})
		p.data = append(p.data, dataOf(f))
	}
	return out
}

func tables(fold bool, ts ...table.Table) pageBlock {
	b := pageBlock{Fold: fold}
	for _, t := range ts {
		if !t.Empty() {
			b.Tables = append(b.Tables, t)
		}
	}
	return b
}
