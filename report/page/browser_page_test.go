package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/figure"
	"asworn/report/internal/sample"
	"asworn/report/text"
	"asworn/report/view"
)

// browserResults is the study that the browser tests look at: a results file
// named by $ASWORN_RESULTS, for instance of the demo, or the synthetic one.
func browserResults(t *testing.T) report.Results {
	t.Helper()
	name := os.Getenv("ASWORN_RESULTS")
	if name == "" {
		return sample.Results()
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := report.ReadJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// oneModel is browserResults without all models but the first.
func oneModel(t *testing.T) report.Results {
	t.Helper()
	r := browserResults(t)
	r.Analysis.Models = r.Analysis.Models[:1]
	var recs []report.Recording
	for _, rec := range r.Recordings {
		if rec.Model == r.Analysis.Models[0].Model {
			recs = append(recs, rec)
		}
	}
	r.Recordings = recs
	r.Analysis.StandOuts = slices.DeleteFunc(slices.Clone(r.Analysis.StandOuts), func(s fitcorr.StandOut) bool {
		return !slices.ContainsFunc(recs, func(rec report.Recording) bool { return rec.File == s.ID })
	})
	return r
}

// few keeps two listeners.
func few(r report.Results) report.Results {
	var recs []report.Recording
	for _, rec := range r.Recordings {
		if rec.OnFixture() || rec.Subject == "L01" || rec.Subject == "L02" {
			recs = append(recs, rec)
		}
	}
	r.Recordings = recs
	return r
}

// hover reads values under the pointer, in one plot of each section.
func (b *browser) hover() {
	r := oneModel(b.t)
	url := b.open(r)
	figs := view.New(r).Figures()
	for i, f := range figs {
		if f.Curves == nil || i > 0 && figs[i-1].Section == f.Section {
			continue // one of each section
		}
		b.hoverFigure(f)
	}
	b.quiet(url)
}

// hoverFigure points at a band above 1 kHz in the plot and reads the values in the legend.
func (b *browser) hoverFigure(f figure.Figure) {
	b.t.Helper()
	sel := `#fig-` + f.Name
	type rect struct{ X, Y, W, H float64 }
	b.unfold()
	b.do(chromedp.ScrollIntoView(sel + " svg"))
	box := eval[rect](b, `(() => { const r = document.querySelector("`+sel+` svg").getBoundingClientRect(); return {X: r.left, Y: r.top, W: r.width, H: r.height} })()`)
	i := pageFigure{Figure: f}.StartBand() + 5
	if i >= len(f.Curves.Hz) {
		i = 0
	}
	x := box.X + eval[float64](b, fmt.Sprintf(`(() => { const d = document.querySelector("%s svg").dataset; return (+d.x0 + +d.w * Math.log(%g / 20) / Math.log(1000)) / 640 })()`, sel, f.Curves.Hz[i]))*box.W
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x, box.Y+box.H/3))
	s := f.Curves.Series[0]
	got := eval[string](b, `document.querySelector("`+sel+` [data-v='0']").textContent`)
	out := eval[string](b, `document.querySelector("`+sel+` output").textContent`)
	first, _, _ := strings.Cut(got, " ")
	v, err := strconv.ParseFloat(strings.Replace(first, "−", "-", 1), 64)
	// The page holds hundredths and shows fewer digits.
	if tol := 0.5*math.Pow(10, -float64(f.Curves.Decimals)) + 0.006; err != nil || math.Abs(v-s.Y[i]) > tol {
		b.t.Errorf("%s at %g Hz: legend says %q, want %g", f.Name, f.Curves.Hz[i], got, s.Y[i])
	}
	if hz := text.PlainHertz(f.Curves.Hz[i]/1000) + " kHz"; out != hz {
		b.t.Errorf("%s: cursor says %q, want %s", f.Name, out, hz)
	}
}

// keyboard reaches everything without a pointer.
func (b *browser) keyboard() {
	t, r := b.t, oneModel(b.t)
	url := b.open(r)
	figs := view.New(r).Figures()
	fig := figs[slices.IndexFunc(figs, func(f figure.Figure) bool { return f.Section == figure.SectionWorn })]
	sel := "#fig-" + fig.Name
	b.unfold()
	b.do(chromedp.Focus(sel + " input[type=range]"))
	before := eval[string](b, `document.querySelector("`+sel+` output").textContent`)
	b.do(chromedp.KeyEvent(kb.ArrowRight))
	after := eval[string](b, `document.querySelector("`+sel+` output").textContent`)
	if before == after {
		t.Errorf("an arrow key left the cursor at %s", before)
	}
	spoken := eval[string](b, `document.querySelector("`+sel+` input[type=range]").getAttribute("aria-valuetext")`)
	if !strings.Contains(spoken, "dB") || !strings.Contains(spoken, "Hz: ") {
		t.Errorf("the slider speaks %q", spoken)
	}
	// The last legend entry is a listener, hidden at first: the space bar draws it.
	last := len(fig.Groups()) - 1
	box := fmt.Sprintf(`%s input[data-g='%d']`, sel, last)
	count := fmt.Sprintf(`[...document.querySelectorAll("%s svg [data-g='%d']")].filter(p => getComputedStyle(p).display !== "none" && p.getTotalLength() > 100).length`, sel, last)
	if n := eval[int](b, count); n != 0 {
		t.Errorf("%d lines of a hidden group are drawn", n)
	}
	b.do(chromedp.Focus(box), chromedp.KeyEvent(" "))
	if n := eval[int](b, count); n == 0 {
		t.Error("the space bar did not show the group")
	}
	b.do(chromedp.KeyEvent(" "))
	if n := eval[int](b, count); n != 0 {
		t.Error("the space bar did not hide the group")
	}
	b.quiet(url)
}

// tables compares every table on the page with the tables of the
// results after a trip through JSON, and the distances with the JSON itself.
func (b *browser) tables() {
	t, r := b.t, oneModel(b.t)
	url := b.open(r)
	var file bytes.Buffer
	if err := report.WriteJSON(&file, r); err != nil {
		t.Fatal(err)
	}
	raw := file.Bytes()
	back, err := report.ReadJSON(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	shown := eval[map[string][][]string](b, `Object.fromEntries([...document.querySelectorAll("table[data-table]")].map(t =>
		[t.dataset.table, [...t.tBodies[0].rows].map(r => [...r.cells].map(c => c.textContent))]))`)
	want := view.New(back).Tables().All()
	for _, f := range view.New(back).Figures() {
		want = append(want, f.Table())
	}
	for _, table := range want {
		rows := shown[table.Name]
		if len(rows) != len(table.Rows) {
			t.Errorf("%s: %d rows on the page, %d in the results", table.Name, len(rows), len(table.Rows))
			continue
		}
		for i, row := range table.Rows {
			for k, c := range row {
				if rows[i][k] != c.Text {
					t.Fatalf("%s row %d column %d: page %q, results %q", table.Name, i, k, rows[i][k], c.Text)
				}
			}
		}
	}
	b.distances(raw, shown["fixture-seatings"])
	b.quiet(url)
}

// distances reads the JSON without any type of ours.
func (b *browser) distances(raw []byte, rows [][]string) {
	b.t.Helper()
	var doc struct {
		Analysis struct {
			Models []struct {
				Model    string
				Verdicts []struct {
					Seating  int
					Decides  string
					Distance []float64 `json:"distance_mm"`
				}
			}
		}
	}
	if err := json.Unmarshal(raw, &doc); err != nil {
		b.t.Fatal(err)
	}
	n := 0
	for _, m := range doc.Analysis.Models {
		for _, v := range m.Verdicts {
			for _, row := range rows {
				if row[0] != m.Model || row[1] != strconv.Itoa(v.Seating) || row[2] == "rejected" {
					continue
				}
				n++
				field, _, _ := strings.Cut(row[4], " ")
				got, err := strconv.ParseFloat(strings.Replace(field, "−", "-", 1), 64)
				if row[3] != v.Decides || err != nil || math.Abs(got-v.Distance[0]) > 0.5 {
					b.t.Errorf("%s seating %d: page %q, %q, JSON %q, %g", m.Model, v.Seating, row[3], row[4], v.Decides, v.Distance[0])
				}
			}
		}
	}
	if n == 0 && len(doc.Analysis.Models) > 0 && len(doc.Analysis.Models[0].Verdicts) > 0 {
		b.t.Error("no verdict compared")
	}
}

// links follows each link of the page to its place.
func (b *browser) links() {
	t := b.t
	url := b.open(oneModel(t))
	b.intact()
	b.do(chromedp.Click("#answer a[href^='#s-'], #findings a[href^='#s-']"))
	if !eval[bool](b, `new Promise(done => setTimeout(() => done(!!document.querySelector(":target") && [...document.querySelectorAll("details:has(:target)")].every(d => d.open)), 100))`) {
		t.Error("a link to a recording did not unfold the list")
	}
	b.quiet(url)
}

// accessible runs axe-core in both colour schemes and on the live view.
func (b *browser) accessible() {
	t := b.t
	file := os.Getenv("ASWORN_AXE")
	if file == "" {
		t.Skip("ASWORN_AXE does not name axe.min.js (npm install axe-core)")
	}
	axe, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := few(oneModel(t)) // a few of everything are enough
	url := b.open(r)
	b.axe(string(axe), "light", "{}")
	b.media("", "dark")
	b.axe(string(axe), "dark", `{runOnly: ["color-contrast"]}`)
	b.quiet(url)
	srv := httptest.NewServer(Live{Latest: func() (report.Results, string, error) { return r, r.Analysis.Models[0].Verdicts[1].ID, nil }}.Handler())
	defer srv.Close()
	b.do(chromedp.Navigate(srv.URL), chromedp.WaitVisible("#word.act, #word.good, #word.unsure"))
	b.axe(string(axe), "live view", "{}")
}

// axe runs axe-core on the open page with everything unfolded, and proves that
// it would find something.
func (b *browser) axe(source, where, options string) {
	b.t.Helper()
	eval[bool](b, source+"; true")
	found := eval[[]string](b, `document.querySelectorAll("details").forEach(d => d.open = true), axe.run(document, Object.assign({resultTypes: ["violations"]}, `+options+`)).then(r =>
		r.violations.map(v => v.impact + " " + v.id + ": " + v.help + " | " + v.nodes.length + " × " + v.nodes.slice(0, 3).map(n => n.target + " " + n.failureSummary).join(" ;; ")))`)
	for _, v := range found {
		b.t.Errorf("axe, %s: %s", where, v)
	}
	if n := eval[int](b, `document.querySelector("h1").style.color = "#cccccc", document.querySelector("h1").style.background = "#dddddd",
		axe.run("h1", {runOnly: ["color-contrast"]}).then(r => { document.querySelector("h1").removeAttribute("style"); return r.violations.length })`); n != 1 {
		b.t.Errorf("axe, %s: grey on grey gave %d findings, want 1", where, n)
	}
}

// sizes looks at phone, laptop and print: nothing is wider than the
// window, and each is kept as a picture.
func (b *browser) sizes() {
	t := b.t
	r := oneModel(t)
	if os.Getenv("ASWORN_SHOTS") != "" { // the pictures show everything
		r = browserResults(t)
	}
	url := b.open(r)
	for _, v := range []struct {
		name string
		w, h int64
		dark bool
	}{{"phone", 390, 844, false}, {"laptop", 1366, 768, false}, {"laptop-dark", 1366, 768, true}, {"desk", 1920, 1080, false}} {
		scheme := "light"
		if v.dark {
			scheme = "dark"
		}
		b.media("", scheme)
		b.do(chromedp.EmulateViewport(v.w, v.h), chromedp.Evaluate[chromedp.Void](`scrollTo(0, 0)`))
		b.shot(v.name+"-first", false)
		if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
			t.Errorf("%s: the page is %d px wider than the window", v.name, wide)
		}
		answer := eval[float64](b, `document.querySelector("#answer .answers").getBoundingClientRect().top`)
		if answer > float64(v.h)*0.6 {
			t.Errorf("%s: the answer begins at %.0f px", v.name, answer)
		}
		b.shot(v.name, true)
	}
	b.printed()
	b.plotsLegible("print")
	b.media("", "light")
	for _, w := range []int64{390, 820, 1440} {
		b.do(chromedp.EmulateViewport(w, 900))
		b.plotsLegible(strconv.FormatInt(w, 10) + " px")
	}
	b.quiet(url)
}

// printed makes a PDF as the browser prints it and a picture in print style.
func (b *browser) printed() {
	b.t.Helper()
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4)))
	if err != nil {
		b.t.Fatal(err)
	}
	if !bytes.HasPrefix(pdf, []byte("%PDF")) {
		b.t.Fatal("no PDF")
	}
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n == 0 || n >= 15 {
		b.t.Errorf("%d pages in print", n)
	}
	if dir := os.Getenv("ASWORN_SHOTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "print.pdf"), pdf, 0o666); err != nil {
			b.t.Fatal(err)
		}
	}
	b.media("print", "light")
	b.do(chromedp.EmulateViewport(688, 1000)) // A4 less margins at 96 px per inch
	shown := eval[int](b, `[...document.querySelectorAll("nav, input, button")].filter(e => getComputedStyle(e).display !== "none" && e.offsetParent).length`)
	if shown > 0 {
		b.t.Errorf("%d controls are printed", shown)
	}
	if wide := eval[[]string](b, `[...document.querySelectorAll("table, figure")].filter(e => e.getBoundingClientRect().right > 690).map(e => (e.dataset.table || e.id) + " " + e.getBoundingClientRect().right)`); len(wide) > 0 {
		b.t.Errorf("wider than the sheet: %v", wide)
	}
	b.shot("print", true)
}

// plotsLegible finds words of plots that their frame cuts, and names of axes that
// lie on the numbers beside them.
func (b *browser) plotsLegible(where string) {
	b.t.Helper()
	b.unfold()
	bad := eval[[]string](b, `[...document.querySelectorAll("figure > svg")].flatMap(svg => {
		const out = svg.getBoundingClientRect(), name = svg.closest("figure").id
		if (out.width === 0) return []
		const words = [...svg.querySelectorAll(".tick text")].filter(t => getComputedStyle(t).display !== "none").map(t => ({t, r: t.getBoundingClientRect()}))
		const cut = words.filter(({r}) => r.left < out.left - 1 || r.right > out.right + 1 || r.bottom > out.bottom + 1).map(({t}) => name + " cuts " + t.textContent)
		const axis = words.filter(({t}) => t.hasAttribute("transform"))
		const on = axis.flatMap(a => words.filter(w => w !== a && w.r.right > a.r.left + 1 && w.r.left < a.r.right - 1 && w.r.bottom > a.r.top + 1 && w.r.top < a.r.bottom - 1)
			.map(w => name + ": " + a.t.textContent + " lies on " + w.t.textContent))
		return [...cut, ...on]
	})`)
	if len(bad) > 0 {
		b.t.Errorf("%s: %d words of plots are not legible: %v", where, len(bad), bad[:min(5, len(bad))])
	}
}

// live reads the live view: large letters, and news without a reload.
func (b *browser) live() {
	t := b.t
	r := sample.Results()
	var mu sync.Mutex
	id := r.Analysis.Models[0].Verdicts[1].ID
	srv := httptest.NewServer(Live{Latest: func() (report.Results, string, error) {
		mu.Lock()
		defer mu.Unlock()
		return r, id, nil
	}}.Handler())
	defer srv.Close()
	b.do(chromedp.EmulateViewport(1366, 768), chromedp.Navigate(srv.URL), chromedp.WaitVisible("#word.act"))
	word := eval[float64](b, `parseFloat(getComputedStyle(document.getElementById("word")).fontSize)`)
	do := eval[float64](b, `parseFloat(getComputedStyle(document.getElementById("do")).fontSize)`)
	// Capitals are about 0.7 of the font size; 13 inch laptop: 0.21 mm to a pixel.
	// 16 minutes of arc at 2 m are 9.3 mm (ISO 9241-303, least height, quoted from memory).
	for name, size := range map[string]float64{"verdict": word, "what to do": do} {
		if mm := size * 0.7 * 0.21; mm < 9.2 {
			t.Errorf("%s: capitals of %.1f mm", name, mm)
		}
	}
	b.shot("live-move", false)
	mu.Lock()
	id = r.Analysis.Models[0].Verdicts[0].ID
	mu.Unlock()
	b.do(chromedp.WaitVisible("#word.good"))
	b.shot("live-use", false)
	mu.Lock()
	id = r.Recordings[3].File
	mu.Unlock()
	b.do(chromedp.WaitVisible("#word.bad"), chromedp.EmulateViewport(390, 844))
	b.shot("live-rejected-phone", false)
	if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
		t.Errorf("live view on a phone is %d px too wide", wide)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, p := range b.problems {
		t.Error(p)
	}
}

// takes reads the map of takes: each that was placed where it sits, forward to the right and
// up upward, to the scale of the tolerance, the last one told from the others.
func (b *browser) takes() {
	t := b.t
	placed := func(title string, forward, up float64, tone string) Take {
		return Take{File: title, Title: title, Word: "move", Tone: tone, ForwardMM: forward, UpMM: up, Placed: true}
	}
	desk := Desk{Phase: "judged", Next: "one more seating", ToleranceMM: 3, History: []Take{
		placed("seating 7", 6, -2, "act"), {Title: "seating 8", Word: "rejected", Tone: "bad"}, placed("seating 9", -1.5, 4, "act"), placed("seating 10", 0.5, 0.5, "good"),
	}}
	desk.Take = &desk.History[3]
	srv := httptest.NewServer(Live{Latest: func() (report.Results, string, error) { return sample.Results(), "", nil }, Desk: func() Desk { return desk }}.Handler())
	defer srv.Close()
	b.do(chromedp.EmulateViewport(1440, 900), chromedp.Navigate(srv.URL), chromedp.WaitVisible("#map .last"))
	dots := eval[[][]float64](b, `[...document.querySelectorAll("#map .take")].map(e => [+e.getAttribute("cx"), +e.getAttribute("cy"), +e.classList.contains("last")])`)
	radius := eval[float64](b, `+document.querySelector("#map .tolerance").getAttribute("r")`)
	if len(dots) != 3 || radius <= 0 {
		t.Fatalf("%d takes on the map, want the 3 that were placed; tolerance %v", len(dots), radius)
	}
	for i, want := range [][3]float64{{6, -2, 0}, {-1.5, 4, 0}, {0.5, 0.5, 1}} {
		mm := 3 / radius
		if d := dots[i]; math.Abs(d[0]*mm-want[0]) > 0.01 || math.Abs(-d[1]*mm-want[1]) > 0.01 || d[2] != want[2] {
			t.Errorf("take %d at %.2f, %.2f mm, last %v; want %v", i, d[0]*mm, -d[1]*mm, d[2], want)
		}
	}
	names := eval[[]string](b, `[...document.querySelectorAll("#map .take title")].map(e => e.textContent)`)
	if names[0] != "seating 7: move" {
		t.Errorf("takes named %q", names)
	}
	b.shot("live-takes", false)
}

// unfold opens everything that is folded.
func (b *browser) unfold() {
	b.t.Helper()
	eval[bool](b, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
}

// folds looks at the page as it opens, without a script: few places to stop at, a
// verdict's link opens its seating, and views are shown by turns.
func (b *browser) folds() {
	t, r := b.t, browserResults(b.t)
	url := b.withoutScripts(func() string { return b.open(r) })
	stops := eval[int](b, `[...document.querySelectorAll("a[href], summary, input, button, [tabindex='0']")].filter(e => e.checkVisibility({contentVisibilityAuto: true})).length`)
	if most := 40 + 2*len(view.New(r).Seatings); stops > most {
		t.Errorf("%d tab stops, want at most %d", stops, most)
	}
	link := eval[string](b, `document.querySelector("#answer tbody a").getAttribute("href")`)
	eval[bool](b, `location.hash = "`+link+`", true`)
	if !eval[bool](b, `document.querySelector(":target").checkVisibility({contentVisibilityAuto: true}) && !!document.querySelector(":target .side .fill")`) {
		t.Errorf("%s did not open its seating with an arrow", link)
	}
	b.unfold()
	views := func() []int {
		return eval[[]int](b, `["turn0", "turn1"].map(c => [...document.querySelectorAll(".switch ." + c)].filter(e => e.checkVisibility()).length)`)
	}
	before := views()
	eval[bool](b, `document.querySelector(".switch > input:not(:checked)").click(), true`)
	if after := views(); before[0] == 0 || before[1] != 0 || after[0] != before[0]-2 || after[1] != 2 {
		t.Errorf("views shown before the switch %v, after it %v", before, after)
	}
	b.quiet(url)
}
