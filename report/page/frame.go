package page

import (
	"cmp"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"asworn/report/curves"
)

// frame is what pages have in common: head, navigation, sections and foot.
type frame struct {
	Title    string // of the page
	Tab      string // of the window
	Skip     string // words of the link that passes over the navigation
	Places   []place
	CSP      string
	CSS      template.CSS
	JS       template.JS
	Sections []pageSection
	Drawn    []template.HTML // the sections, by draw
	Data     []figureData
	Curves   []modelCurves
}

// place is a part of the page to which the navigation leads.
type place struct{ ID, Title string }

// filled is the frame, of which the titles are given, of a page: answer is how the navigation
// calls its first part, more are the parts that follow sections and curves.
func (f frame) filled(answer string, p pageBuilder, of []curves.Curve, more ...place) (frame, error) {
	css, js, err := pageAssets()
	f.CSP, f.CSS, f.JS = policy(js), template.CSS(css), template.JS(js)
	f.Sections, f.Data, f.Curves, f.Places = p.sections, p.data, pageCurves(of), []place{{"answer", answer}}
	for _, s := range f.Sections {
		f.Places = append(f.Places, place{string(s.ID), s.Title})
	}
	if len(f.Curves) > 0 {
		f.Places = append(f.Places, place{"curves", "Curves as text"})
	}
	f.Places = append(f.Places, more...)
	return f, err
}

// draw makes the sections, which take most of a page's time, on all cores.
func (f *frame) draw(t *template.Template) error {
	f.Drawn = make([]template.HTML, len(f.Sections))
	var all errgroup.Group
	all.SetLimit(runtime.GOMAXPROCS(0))
	for i, s := range f.Sections {
		all.Go(func() error {
			var b strings.Builder
			err := t.ExecuteTemplate(&b, "section", s)
			f.Drawn[i] = template.HTML(b.String())
			return err
		})
	}
	return all.Wait()
}

func titleOf(title string) string { return cmp.Or(title, "Untitled study") }

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

// modelCurves are the text files of one model's curves.
type modelCurves struct {
	Model  string
	Curves []curves.Curve
}

func pageCurves(of []curves.Curve) (out []modelCurves) {
	for _, c := range of {
		if len(out) == 0 || out[len(out)-1].Model != c.Model {
			out = append(out, modelCurves{Model: c.Model})
		}
		last := &out[len(out)-1]
		last.Curves = append(last.Curves, c)
	}
	return out
}

//go:embed *.html *.css *.js
var assets embed.FS
