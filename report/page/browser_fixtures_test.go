package page

import (
	"bytes"
	"os"
	"strings"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"asworn/report/internal/sample"
)

// openFixtures opens the comparison of two fixtures.
func (b *browser) openFixtures() string {
	b.t.Helper()
	var page bytes.Buffer
	if err := WriteFixtures(&page, sample.Fixtures()); err != nil {
		b.t.Fatal(err)
	}
	return b.openHTML(page.String())
}

// shownFixtures names the plots of the first model that are shown, fixture against fixture.
const shownFixtures = `[...document.querySelector("#fixtures .switch").querySelectorAll("figure")].filter(f => f.checkVisibility()).map(f => f.querySelector("b").textContent).join("|")`

// fixtures looks at the comparison of fixtures as at the report.
func (b *browser) fixtures() {
	t := b.t
	url := b.openFixtures()
	b.intact()
	for _, v := range []struct {
		name   string
		w, h   int64
		scheme string
	}{{"fixtures-phone", 390, 844, "light"}, {"fixtures-tablet", 820, 1180, "light"}, {"fixtures-desk", 1440, 900, "light"}, {"fixtures-dark", 1440, 900, "dark"}} {
		b.media("", v.scheme)
		b.do(chromedp.EmulateViewport(v.w, v.h))
		if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
			t.Errorf("%s: the page is %d px wider than the window", v.name, wide)
		}
		if !eval[bool](b, `[...document.querySelectorAll("[data-table='fixtures'] td.act")].every(c => c.getBoundingClientRect().right <= innerWidth)`) {
			t.Errorf("%s: what the comparison says is out of sight", v.name)
		}
		b.shot(v.name, true)
	}
	b.unfold()
	if v := eval[string](b, `document.querySelector("#fixtures figure input[type=range]").getAttribute("aria-valuetext")`); !strings.Contains(v, "final, each less its own reference") {
		t.Errorf("the first plot reads %q", v)
	}
	before := eval[string](b, shownFixtures)
	after := eval[string](b, `document.querySelector("#fixtures input[type=radio]:not(:checked)").click(), `+shownFixtures)
	if !strings.Contains(before, "compensated") || after == "" || strings.Contains(strings.Split(after, "|")[0], "compensated") {
		t.Errorf("raw does not take the place of compensated: %.80q, %.80q", before, after)
	}
	b.shot("fixtures-open", true)
	b.do(chromedp.EmulateViewport(390, 844))
	if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
		t.Errorf("unfolded on a phone the page is %d px wider than the window", wide)
	}
	b.shot("fixtures-open-phone", true)
	b.do(chromedp.EmulateViewport(1440, 900))
	if file := os.Getenv("ASWORN_AXE"); file != "" {
		axe, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		b.axe(string(axe), "fixtures, dark", "{}")
		b.media("", "light")
		b.axe(string(axe), "fixtures, light", "{}")
	}
	b.media("print", "light")
	b.do(chromedp.Navigate(url), chromedp.EmulateViewport(688, 1000)) // as it opens; A4 less margins at 96 px per inch
	if shown := eval[int](b, `[...document.querySelectorAll("nav, input, button")].filter(e => getComputedStyle(e).display !== "none" && e.offsetParent).length`); shown > 0 {
		t.Errorf("%d controls are printed", shown)
	}
	if wide := eval[[]string](b, `[...document.querySelectorAll("table, figure")].filter(e => e.getBoundingClientRect().right > 690).map(e => e.dataset.table || e.id)`); len(wide) > 0 {
		t.Errorf("wider than the sheet: %v", wide)
	}
	b.shot("fixtures-print", true)
	b.quiet(url)
}

// tabTo presses the tab key until the focus is on what sel chooses.
func (b *browser) tabTo(sel string) {
	b.t.Helper()
	for range 300 {
		b.do(chromedp.KeyEvent(kb.Tab))
		if eval[bool](b, `document.activeElement.matches("`+sel+`")`) {
			return
		}
	}
	b.t.Fatalf("the tab key does not reach %s", sel)
}

// fixturesKeyboard reaches everything with keys alone; no focus is set by the test.
func (b *browser) fixturesKeyboard() {
	t := b.t
	url := b.openFixtures()
	b.do(chromedp.KeyEvent(kb.Tab))
	if !eval[bool](b, `document.activeElement.matches(".skip") && document.activeElement.getBoundingClientRect().left >= 0`) {
		t.Error("the first stop is not a link to the comparison that can be seen")
	}
	b.do(chromedp.KeyEvent(kb.Enter), chromedp.KeyEvent(kb.Tab))
	if !eval[bool](b, `location.hash === "#answer" && !!document.activeElement.closest("#answer")`) {
		t.Error("the link does not pass over the navigation")
	}
	// On through the page as it opens: each stop can be seen, and shows that it has the focus.
	stops, walked := eval[int](b, `[...document.querySelectorAll("#answer ~ section, #answer")].flatMap(s => [...s.querySelectorAll("a[href], summary, [tabindex='0']")]).filter(e => e.checkVisibility({contentVisibilityAuto: true})).length`), 1
	for ; walked < stops; walked++ {
		b.do(chromedp.KeyEvent(kb.Tab))
		// The browser brings a stop into sight with its next frame.
		if got := eval[string](b, `new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))).then(() => (e => { const r = e.getBoundingClientRect(), s = getComputedStyle(e);
			return e === document.body ? "left the page" : r.bottom < 0 || r.top > innerHeight ? "out of sight: " + e.textContent : s.outlineStyle === "none" ? "no sign of focus: " + e.textContent : "" })(document.activeElement))`); got != "" {
			t.Fatalf("stop %d of %d: %.80s", walked+1, stops, got)
		}
	}
	b.do(chromedp.KeyEvent(kb.Tab))
	if !eval[bool](b, `document.activeElement === document.body || !document.activeElement.closest("main")`) {
		t.Errorf("more than the %d stops that can be seen", stops)
	}
	b.tabTo("summary:has(+ #fixtures)")
	b.do(chromedp.KeyEvent(kb.Enter))
	b.tabTo("#fixtures .switch input[type=radio]")
	before := eval[string](b, shownFixtures)
	b.do(chromedp.KeyEvent(kb.ArrowRight))
	if after := eval[string](b, shownFixtures); before == "" || after == "" || before == after {
		t.Errorf("an arrow key left the plots at %.80q", after)
	}
	b.tabTo("#fixtures figure input[type=range]")
	said := `document.activeElement.getAttribute("aria-valuetext")`
	before = eval[string](b, said)
	b.do(chromedp.KeyEvent(kb.ArrowRight))
	if after := eval[string](b, said); before == after || !strings.Contains(after, "Hz: ") || !strings.Contains(after, "dB") {
		t.Errorf("an arrow key took the slider from %q to %q", before, after)
	}
	b.tabTo("#fixtures figure .legend input:checked")
	drawn := `(g => [...document.activeElement.closest("figure").querySelectorAll("svg [data-g='" + g + "']")].filter(p => p.checkVisibility()).length)(document.activeElement.dataset.g)`
	if n := eval[int](b, drawn); n == 0 {
		t.Error("a ticked curve is not drawn")
	}
	b.do(chromedp.KeyEvent(" "))
	if n := eval[int](b, drawn); n != 0 {
		t.Error("the space bar did not hide the curve")
	}
	b.tabTo("#fixtures figure details.data > summary")
	b.do(chromedp.KeyEvent(kb.Enter))
	b.tabTo("#fixtures figure details.data[open] .scroll")
	b.do(chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown))
	if !eval[bool](b, `new Promise(done => setTimeout(() => done(document.activeElement.scrollTop > 0), 300))`) {
		t.Error("arrow keys do not move through the values of a plot")
	}
	b.quiet(url)
}

// fixturesStill looks at the comparison without scripts: the answer stands there, sections
// unfold, plots are drawn, views take turns, and every plot has its values as a table.
func (b *browser) fixturesStill() {
	t := b.t
	url := b.withoutScripts(b.openFixtures)
	if text := eval[string](b, `document.querySelector("#answer").innerText`); !strings.Contains(text, "suspect position first") || !strings.Contains(text, "Not compared") {
		t.Errorf("the first part says %.200q", text)
	}
	b.do(chromedp.Click("summary:has(+ #fixtures)"))
	if eval[string](b, shownFixtures) == "" {
		t.Error("the section does not unfold, or shows no plot")
	}
	b.unfold()
	bare := eval[[]string](b, `[...document.querySelectorAll("main figure")].filter(f => f.checkVisibility()).filter(f =>
		![...f.querySelectorAll("svg .line[d], svg .pt")].some(p => p.checkVisibility()) || !f.querySelector("details.data tbody tr")).map(f => f.id)`)
	if len(bare) > 0 {
		t.Errorf("plots without a curve or without values: %v", bare)
	}
	before := eval[string](b, shownFixtures)
	b.do(chromedp.Click("#fixtures .switch > input:not(:checked)"))
	if after := eval[string](b, shownFixtures); before == "" || after == "" || before == after {
		t.Errorf("raw does not take the place of compensated: %.80q, %.80q", before, after)
	}
	b.shot("fixtures-still", true)
	b.quiet(url)
}
