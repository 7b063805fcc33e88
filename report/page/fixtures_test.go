package page

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/report/internal/sample"

	"github.com/chromedp/chromedp"
)

// TestFixturesPage: every model, figure and table is there, what is missing is said
// with what to record, and nothing is fetched.
func TestFixturesPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteFixtures(&b, sample.Fixtures()); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	for _, want := range []string{
		"Two fixtures: fixtures compared", `<a href="../old/report.html">`, `<a href="fixtures-thirds.csv">`, `<a href="fixtures-places.csv">`, `href="curves/model-a-new-old-drum-left-final.csv"`,
		"Model B on old: not set against people; it needs ordinary seatings at the blocked ear-canal entrance",
		"Model C on new: not set against people", "new minus old, compensated", "apart though alike: suspect position first", "Models side by side, left ear",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, not := range []string{"Model A on new: ", "http:", "https:", "tables/"} {
		if strings.Contains(strings.ReplaceAll(html, "http://www.w3.org/2000/svg", ""), not) {
			t.Errorf("the page says %q", not)
		}
	}
	r := sample.Fixtures()
	r.Title, r.Names[0] = "<script>alert(1)</script>", `"><i>x`
	b.Reset()
	if err := WriteFixtures(&b, r); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "<script>alert") || strings.Contains(b.String(), `"><i>x`) {
		t.Error("hostile names are not escaped")
	}
}

// fixtures looks at the comparison of fixtures as at the report.
func (b *browser) fixtures() {
	t := b.t
	var page bytes.Buffer
	if err := WriteFixtures(&page, sample.Fixtures()); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "fixtures.html")
	if err := os.WriteFile(file, page.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	url := "file://" + file
	b.do(chromedp.Navigate(url))
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
		b.shot(v.name, true)
	}
	if v := eval[string](b, `document.querySelectorAll("details").forEach(d => d.open = true), document.querySelector("#fixtures figure input[type=range]").getAttribute("aria-valuetext")`); !strings.Contains(v, "final, each less its own reference") {
		t.Errorf("the first plot reads %q", v)
	}
	shown := `[...document.querySelectorAll("#fixtures .switch:first-of-type figure")].filter(f => f.offsetParent).map(f => f.querySelector("b").textContent).join("|")`
	before := eval[string](b, shown)
	after := eval[string](b, `document.querySelector("#fixtures input[type=radio]:not(:checked)").click(), `+shown)
	if !strings.Contains(before, "compensated") || after == "" || strings.Contains(strings.Split(after, "|")[0], "compensated") {
		t.Errorf("raw does not take the place of compensated: %.80q, %.80q", before, after)
	}
	b.shot("fixtures-open", true)
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
	b.shot("fixtures-print", true)
	b.quiet(url)
}
