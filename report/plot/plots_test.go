package plot

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"asworn/report/figure"
	"asworn/report/internal/sample"
	"asworn/report/view"

	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

func TestWrite(t *testing.T) {
	r := sample.Results()
	r.Analysis.Models = r.Analysis.Models[:1]
	r.Analysis.Models[0].Model = "Model A"
	dir := os.Getenv("ASWORN_SHOTS")
	if dir == "" {
		dir = t.TempDir()
	} else {
		dir = filepath.Join(dir, "plots")
	}
	names, err := Write(dir, view.New(r).Figures(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(names) != 2*len(view.New(r).Figures()) {
		t.Fatalf("%d files for %d figures", len(names), len(view.New(r).Figures()))
	}
	again := t.TempDir()
	if _, err := Write(again, view.New(r).Figures(), Options{}); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, n := range names {
		if seen[n] {
			t.Errorf("%s twice", n)
		}
		seen[n] = true
		a, err := os.ReadFile(filepath.Join(dir, n))
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(again, n))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a, b) {
			t.Errorf("%s differs between two runs", n)
		}
		if strings.HasSuffix(n, ".svg") && bytes.Contains(a, []byte("NaN")) {
			t.Errorf("%s holds NaN", n)
		}
	}
}

// TestAspect measures the drawn axes: 25 dB must be as long as one
// decade (IEC 60263:2020, 4.1).
func TestAspect(t *testing.T) {
	r := sample.Results()
	r.Analysis.Models = r.Analysis.Models[:1]
	for _, f := range view.New(r).Figures() {
		if f.Curves == nil || f.Curves.DBPerDecade == 0 {
			continue
		}
		for _, opt := range []Options{{}, {WidthMM: 85, FontSize: 7}, {WidthMM: 250, FontSize: 12, NoTitle: true}} {
			got, err := drawnAspect(f, opt)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got/f.Curves.DBPerDecade-1) > 0.005 {
				t.Errorf("%s %+v: %.3f dB per decade, want %g", f.Name, opt, got, f.Curves.DBPerDecade)
			}
		}
	}
}

// drawnAspect is how many decibels are as long as a decade in the data area.
func drawnAspect(f figure.Figure, opt Options) (float64, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return 0, err
	}
	l := layoutOf(f, opt)
	area := l.p.DataCanvas(draw.NewCanvas(vgsvg.New(l.w, l.h), l.w, l.h))
	x, y := l.p.Transforms(&area)
	perDB := float64(y(f.Curves.YMax)-y(f.Curves.YMin)) / (f.Curves.YMax - f.Curves.YMin)
	return float64(x(1000)-x(100)) / perDB, nil
}

func TestOptionsRefused(t *testing.T) {
	for _, opt := range []Options{{WidthMM: 1}, {WidthMM: -3}, {FontSize: 100}, {Font: "fraktur"}, {Formats: []Format{"gif"}}, {DPI: 5}} {
		if _, err := Write(t.TempDir(), view.New(sample.Results()).Figures(), opt); err == nil {
			t.Errorf("%+v: no error", opt)
		}
	}
}

func TestStudyWithoutPanelHasFigures(t *testing.T) {
	r := sample.Results()
	r.Analysis.Models = r.Analysis.Models[:1]
	m := &r.Analysis.Models[0]
	m.Worn, m.Verdicts, m.Corrections, m.Sensitivity = nil, nil, nil, nil
	m.Survey[0], m.Survey[1] = nil, nil
	for i := range m.Offsets {
		m.Offsets[i].Ears[0].Seen[1] = false
	}
	for _, f := range view.New(r).Figures() {
		if _, err := render(f, "svg", Options{}); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}

// TestFileNamesHarmless: plot files stay in their folder.
func TestFileNamesHarmless(t *testing.T) {
	r := sample.NastyResults()
	r.Analysis.Models = r.Analysis.Models[:1]
	r.Analysis.Models[0].Model = "../../../x/..\\y"
	dir := t.TempDir()
	names, err := Write(filepath.Join(dir, "plots"), view.New(r).Figures(), Options{Formats: []Format{SVG}})
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

// TestWriteDrawsWhatChanged: a second call writes nothing; a changed figure, a
// missing file and other options are drawn; a figure that is gone takes its file along.
func TestWriteDrawsWhatChanged(t *testing.T) {
	t.Parallel()
	figs := view.New(sample.Results()).Figures()[:3]
	dir := t.TempDir()
	opt := Options{Formats: []Format{SVG}}
	old := time.Unix(1e9, 0)
	// drawn calls Write and says which files it wrote.
	drawn := func(figs []figure.Figure, opt Options) (out []string) {
		t.Helper()
		names, err := Write(dir, figs, opt)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range names {
			info, err := os.Stat(filepath.Join(dir, n))
			if err != nil {
				t.Fatal(err)
			}
			if !info.ModTime().Equal(old) {
				out = append(out, n)
			}
			if err := os.Chtimes(filepath.Join(dir, n), old, old); err != nil {
				t.Fatal(err)
			}
		}
		return out
	}
	check := func(what string, got []string, want ...string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: drew %v, want %v", what, got, want)
		}
	}
	a, b, c := figs[0].Name+".svg", figs[1].Name+".svg", figs[2].Name+".svg"
	check("at first", drawn(figs, opt), a, b, c)
	check("again", drawn(figs, opt))
	changed := slices.Clone(figs)
	changed[1].Title += " anew"
	check("a changed figure", drawn(changed, opt), b)
	if err := os.WriteFile(filepath.Join(dir, c), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	check("a damaged file", drawn(changed, opt), c)
	check("another program", drawn(changed, Options{Formats: opt.Formats, Maker: "other"}), a, b, c)
	check("fewer figures", drawn(changed[:2], Options{Formats: opt.Formats, Maker: "other"}))
	if _, err := os.Stat(filepath.Join(dir, c)); err == nil {
		t.Errorf("%s is still there", c)
	}
}
