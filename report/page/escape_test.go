package page

import (
	"strings"

	"asworn/report/internal/sample"
	"asworn/report/view"
)

// escaping opens a study full of such texts: none runs, none breaks the page.
func (b *browser) escaping() {
	t := b.t
	r := sample.NastyResults()
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
	if n := eval[int](b, `document.querySelectorAll("figure[data-fig]").length`); n != len(view.New(r).Figures()) {
		t.Errorf("%d figures, want %d", n, len(view.New(r).Figures()))
	}
	if bad := eval[[]string](b, `[...document.querySelectorAll("a")].map(a => a.getAttribute("href")).filter(h => !/^(#|tables\/[a-z0-9-]+\.csv$|curves\/[^\/?#:]+\.csv$)/.test(h))`); len(bad) > 0 {
		t.Errorf("links out of the page: %v", bad)
	}
	b.quiet(url)
}
