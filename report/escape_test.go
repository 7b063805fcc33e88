package report

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture"
)

// nasty are texts that do harm where they are not escaped.
var nasty = []string{
	`<script>window.harm=1</script>`, `"><img src=x onerror="window.harm=1">`, `</script><script>window.harm=1</script>`,
	`</title><script>window.harm=1</script>`, `' onmouseover='window.harm=1`, `{{.}}`, `javascript:window.harm=1`, `]]><svg onload=window.harm=1>`,
	`=cmd|'/c calc'!A1`, `+1+1`, `-2+3`, `@SUM(A1:A9)`, "\t=1+1", "\r=1", `|a|b|`, "two\nlines", "\x1b[31mred\x07", `<!--`, "\u202egnp.exe",
}

// nastySynthetic puts them wherever a study holds free text.
func nastySynthetic() Results {
	r := synthetic()
	pick := func(i int) string { return nasty[i%len(nasty)] }
	all := strings.Join(nasty, " ")
	r.Title, r.Fixture, r.Coupler, r.LevelUnit = all, pick(1), pick(2), `dB <b>`
	rename := map[string]string{}
	for i := range r.Recordings {
		rec := &r.Recordings[i]
		to := pick(i) + rec.File
		rename[rec.File] = to
		rec.File, rec.Notes, rec.Seal, rec.Unit = to, pick(i+1), pick(i+2), pick(i+3)
		if !rec.OnFixture() {
			rec.Subject = pick(i/5) + rec.Subject
		}
		for k := range rec.Findings {
			f := &rec.Findings[k]
			f.Message, f.Mend, f.Channel = pick(i), pick(i+1), pick(i+4)
		}
	}
	for i := range r.Analysis.Models {
		m := &r.Analysis.Models[i]
		old := m.Model
		m.Model = pick(i) + old
		for k := range r.Recordings {
			if r.Recordings[k].Model == old {
				r.Recordings[k].Model = m.Model
			}
		}
		for k := range m.Offsets {
			o := &m.Offsets[k]
			o.ID = rename[o.ID]
			if o.Subject != capture.FixtureSubject {
				o.Subject = pick(k) + o.Subject
			}
		}
		for k := range m.Verdicts {
			v := &m.Verdicts[k]
			v.ID, v.Settle = rename[v.ID], nasty
			for n := range v.Nearest {
				v.Nearest[n].ID = rename[v.Nearest[n].ID]
			}
		}
		for k := range m.Corrections {
			m.Corrections[k].ID, m.Corrections[k].Withheld = rename[m.Corrections[k].ID], pick(k)
		}
		m.Cannot = nasty
		m.Worn.Separation = nasty
		m.Survey[0].Warnings, m.Survey[0].Method = nasty, all
	}
	for i := range r.Analysis.StandOuts {
		s := &r.Analysis.StandOuts[i]
		s.ID, s.Group = rename[s.ID], all
	}
	r.Analysis.Cannot, r.Findings = nasty, nasty
	return r
}

func TestCSVHarmless(t *testing.T) {
	r := nastySynthetic()
	tables := AllTables(r)
	for _, f := range Figures(r) {
		tables = append(tables, f.Table())
	}
	guarded := 0
	for _, table := range tables {
		var b bytes.Buffer
		if err := table.WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			k := 0
			for _, c := range table.Columns {
				n := [...]int{Text: 1, Number: 1, Interval: 3}[c.Kind]
				if c.Kind == Text || i == 0 {
					for _, cell := range row[k : k+n] {
						guarded += strings.Count(cell[:min(1, len(cell))], "'")
						if trim := strings.TrimLeft(cell, " \u00a0"); trim != "" && strings.ContainsRune("=+-@\t\r\n", rune(trim[0])) {
							t.Errorf("%s: %q is a formula", table.Name, cell)
						}
					}
				}
				k += n
			}
		}
	}
	if guarded == 0 {
		t.Error("no formula was met, the test shows nothing")
	}
}

func TestTerminalHarmless(t *testing.T) {
	r := nastySynthetic()
	var b bytes.Buffer
	if err := Tables(&b, r, TableOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := Summary(&b, r); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(b.String(), "\x1b\x07\r\t\u202e") {
		t.Error("control characters reach the terminal")
	}
}

func TestMarkdownHarmless(t *testing.T) {
	var b bytes.Buffer
	for _, table := range AllTables(nastySynthetic()) {
		if err := table.WriteMarkdown(&b); err != nil {
			t.Fatal(err)
		}
	}
	for _, bad := range []string{"<script", "<img", "<svg", "<!--"} {
		if strings.Contains(b.String(), bad) {
			t.Errorf("Markdown holds %s", bad)
		}
	}
}

// TestFileNamesHarmless: plot files stay in their folder.
func TestFileNamesHarmless(t *testing.T) {
	r := nastySynthetic()
	r.Analysis.Models = r.Analysis.Models[:1]
	r.Analysis.Models[0].Model = "../../../x/..\\y"
	dir := t.TempDir()
	names, err := WritePlots(filepath.Join(dir, "plots"), r, PlotOptions{Formats: []string{"svg"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		if strings.ContainsAny(n, `/\ <>"'`) {
			t.Errorf("file name %q", n)
		}
		b, err := os.ReadFile(filepath.Join(dir, "plots", n))
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(b, []byte("<script")) {
			t.Errorf("%s holds a script", n)
		}
	}
}

// escaping opens a study full of such texts: none runs, none breaks the page.
func (b *browser) escaping() {
	t := b.t
	r := nastySynthetic()
	url := b.open(r)
	if eval[bool](b, `typeof window.harm !== "undefined"`) {
		t.Error("a text of the study ran as script")
	}
	if n := eval[int](b, `document.querySelectorAll("script").length`); n != 2 {
		t.Errorf("%d script elements, want 2", n)
	}
	if n := eval[int](b, `document.querySelectorAll("img, iframe, object, embed, [onerror], [onload], [onmouseover]").length`); n > 0 {
		t.Errorf("%d elements that the page does not have", n)
	}
	if got := eval[string](b, `document.querySelector("h1").textContent`); strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(r.Title), " ") {
		t.Errorf("the title reads %q", got)
	}
	if n := eval[int](b, `document.querySelectorAll("figure").length`); n != len(Figures(r)) {
		t.Errorf("%d figures, want %d", n, len(Figures(r)))
	}
	if bad := eval[[]string](b, `[...document.querySelectorAll("a")].map(a => a.getAttribute("href")).filter(h => !h.startsWith("#"))`); len(bad) > 0 {
		t.Errorf("links out of the page: %v", bad)
	}
	b.quiet(url)
}
