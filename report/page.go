package report

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"io"
	"slices"
	"strings"

	"asworn/docs"

	"github.com/yuin/goldmark"
)

//go:embed page
var pageFiles embed.FS

// pageData is what the template sees.
type pageData struct {
	R        Results
	Title    string
	CSP      string
	CSS      template.CSS
	JS       template.JS
	Counts   []string
	Answers  []modelAnswer
	Summary  []Section
	Sections []pageSection
	Data     []figureData
	Cautions template.HTML
}

// modelAnswer is one model on the first screen.
type modelAnswer struct {
	Model string
	Rows  []answerRow
	Note  string // below the rows: what would tell, or why there is nothing to judge

	settle []string
}

type answerRow struct {
	Seating int
	Word    string
	Tone    Tone
	Do      string
	Link    string
}

type pageSection struct {
	ID, Title, Intro string
	Blocks           []pageBlock
}

type pageBlock struct {
	Title   string
	Figures []pageFigure
	Tables  []Table
	Fold    bool // the tables are long: closed at first
}

type pageFigure struct {
	Figure
	Index int // in pageData.Data
}

// WritePage writes the study as one self-contained HTML page: styles, script,
// plots and data are inside, nothing is fetched, and a content security policy
// forbids everything else. The same results give the same bytes.
func WritePage(w io.Writer, r Results) error {
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
	d := pageData{R: r, Title: r.Title, CSS: template.CSS(css), JS: template.JS(js), CSP: policy(js),
		Counts: counts(r), Answers: answers(r), Cautions: cautions,
		Summary: slices.DeleteFunc(Sections(r), func(s Section) bool { return s.Verdicts })}
	if d.Title == "" {
		d.Title = "Untitled study"
	}
	d.Sections, d.Data = pageSections(r)
	return t.Execute(w, d)
}

func pageAssets() (css, js string, err error) {
	c, err := pageFiles.ReadFile("page/page.css")
	if err != nil {
		return "", "", err
	}
	j, err := pageFiles.ReadFile("page/page.js")
	return string(c), string(j), err
}

// policy allows the page's own script by its hash and nothing from anywhere.
func policy(js string) string {
	sum := sha256.Sum256([]byte(js))
	return "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}

func pageTemplate(name string) (*template.Template, error) {
	return template.New(name).Funcs(template.FuncMap{
		"glyph":  func(t Tone) template.HTML { return template.HTML(glyph(t, 8, 8)) },
		"tone":   func(t Tone) string { return t.class() },
		"head":   func(s string) string { return oneLine(s) },
		"cell":   func(c Column) bool { return c.right() },
		"wide":   func(t Table, i int) bool { return t.wide(i) },
		"anchor": anchor,
	}).ParseFS(pageFiles, "page/"+name)
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

func counts(r Results) []string {
	people, refused := map[string]bool{}, 0
	for _, rec := range r.Recordings {
		if !rec.OnFixture() {
			people[rec.Subject] = true
		}
		if !rec.Usable {
			refused++
		}
	}
	return []string{plural(len(r.Analysis.Models), "model"), plural(len(people), "listener"),
		plural(len(r.Recordings), "recording"), fixed(float64(refused), 0) + " refused"}
}

func answers(r Results) []modelAnswer {
	var out []modelAnswer
	at := map[string]int{}
	for _, m := range r.Analysis.Models {
		at[m.Model] = len(out)
		out = append(out, modelAnswer{Model: m.Model})
	}
	for _, f := range fixtureSeatings(r) {
		row := answerRow{Seating: f.verdict.Seating, Word: f.act.word(), Tone: f.act.tone(), Link: f.verdict.ID}
		switch f.act {
		case actRefused:
			row.Seating, row.Link, row.Do = f.rec.Number, f.rec.File, mendWords(f.rec)
		case actUnsure:
			row.Do = "cannot be told yet: " + distanceWords(f.verdict.Headset)
			for _, s := range f.verdict.Settle {
				if a := &out[at[f.model.Model]]; !slices.Contains(a.settle, s) {
					a.settle = append(a.settle, s)
				}
			}
		default:
			row.Do = moveWords(f.verdict, r.Options)
		}
		a := &out[at[f.model.Model]]
		a.Rows = append(a.Rows, row)
	}
	for i := range out {
		if len(out[i].settle) > 0 {
			out[i].Note = "What would tell: " + strings.Join(out[i].settle, ", ") + "."
		}
		if len(out[i].Rows) == 0 {
			out[i].Note = "No fixture seating could be judged against worn ones; below stands why."
		}
	}
	return out
}

// pageSections puts tables and figures in reading order.
func pageSections(r Results) ([]pageSection, []figureData) {
	p := pageBuilder{r: r, figures: Figures(r)}
	p.section("seatings", "Fixture seatings", "Each fixture seating against those that the panel wore. Mark and word say the same: ● use, ▲ move or reseal, ○ undetermined, × refused.",
		tables(false, FixtureTable(r)), tables(true, FixtureOffsetTable(r)))
	p.section(SectionFinal, "Final curves", "What the fixture says about each model: the mean over the seatings that count, corrected where that helps.",
		append(p.blocks(SectionFinal), tables(true, MemberTable(r)))...)
	p.section(SectionWorn, "Worn against fixture", "Levels at the blocked canal entrance. Tick a listener to see each of their seatings.", p.blocks(SectionWorn)...)
	p.section(SectionMap, "Where each seating sits", "Side view of the head axes, the nose to the right for both ears. All maps have one scale.",
		append(p.blocks(SectionMap), tables(true, ListenerTable(r)), tables(false, ModelTable(r)))...)
	p.section(SectionLeak, "Seal", "What the leak costs at 50 Hz.", append(p.blocks(SectionLeak), tables(true, LeakTable(r)))...)
	p.section("findings", "Quality findings", "What was found about recordings, refusals first. A file name leads to its row in the list of recordings.",
		tables(false, FindingTable(r)), tables(false, StandOutTable(r)))
	p.section(SectionCorrected, "Corrected against raw", "For seatings that cannot be redone: the level change from offset and leak to the panel's mean. "+
		"It assumes that the relation of blocked entrance to drum does not depend on the position (near open-entrance loading); ear shape is never corrected.",
		append(p.blocks(SectionCorrected), tables(true, CorrectionTable(r)))...)
	title, intro := "Compensated against raw", "The drum-point curve minus the fixture's own reference, and raw beside it at the same scale. A reference is never carried to another fixture."
	if r.ReferenceDB == nil {
		title, intro = "At the drum point", "Curves as measured: the study names no reference of this fixture to compare them with."
	}
	p.section(SectionCompensated, title, intro, p.blocks(SectionCompensated)...)
	p.section(SectionSensitivity, "Fit sensitivity", "How much the response depends on how the headphone sits.",
		append(append([]pageBlock{tables(false, SensitivityTable(r))}, p.blocks(SectionSensitivity)...), tables(true, RepeatabilityTables(r)...))...)
	p.section(SectionSurvey, "How the response moves", "What the position survey says about each millimetre and degree.",
		append(p.blocks(SectionSurvey), tables(false, SurveyTable(r)))...)
	p.section(SectionBudget, "Uncertainty budget", "Where the interval of each final curve comes from.",
		append([]pageBlock{tables(true, BudgetTable(r))}, p.blocks(SectionBudget)...)...)
	p.section("exposure", "Sound exposure", "What each listener heard; read the cautions below.", tables(false, ExposureTable(r)))
	p.section("recordings", "Recordings", "Every row of the seating sheet.", tables(true, RecordingTable(r)))
	return p.sections, p.data
}

type pageBuilder struct {
	r        Results
	figures  []Figure
	sections []pageSection
	data     []figureData
}

// section adds a section unless all its blocks are empty.
func (p *pageBuilder) section(id, title, intro string, blocks ...pageBlock) {
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
func (p *pageBuilder) blocks(section string) []pageBlock {
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
		p.data = append(p.data, f.data())
	}
	return out
}

func tables(fold bool, ts ...Table) pageBlock {
	b := pageBlock{Fold: fold}
	for _, t := range ts {
		if !t.empty() {
			b.Tables = append(b.Tables, t)
		}
	}
	return b
}
