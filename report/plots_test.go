package report

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

func TestWritePlots(t *testing.T) {
	r := synthetic()
	r.Analysis.Models = r.Analysis.Models[:1]
	r.Analysis.Models[0].Model = "Model A"
	dir := os.Getenv("ASWORN_SHOTS")
	if dir == "" {
		dir = t.TempDir()
	} else {
		dir = filepath.Join(dir, "plots")
	}
	names, err := WritePlots(dir, r, PlotOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(names) != 2*len(Figures(r)) {
		t.Fatalf("%d files for %d figures", len(names), len(Figures(r)))
	}
	again := t.TempDir()
	if _, err := WritePlots(again, r, PlotOptions{}); err != nil {
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
	r := synthetic()
	r.Analysis.Models = r.Analysis.Models[:1]
	for _, f := range Figures(r) {
		if f.Curves == nil || f.Curves.DBPerDecade == 0 {
			continue
		}
		for _, opt := range []PlotOptions{{}, {WidthMM: 85, FontSize: 7}, {WidthMM: 250, FontSize: 12, NoTitle: true}} {
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
func drawnAspect(f Figure, opt PlotOptions) (float64, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return 0, err
	}
	l, err := f.layout(opt)
	if err != nil {
		return 0, err
	}
	area := l.p.DataCanvas(draw.NewCanvas(vgsvg.New(l.w, l.h), l.w, l.h))
	x, y := l.p.Transforms(&area)
	perDB := float64(y(f.Curves.YMax)-y(f.Curves.YMin)) / (f.Curves.YMax - f.Curves.YMin)
	return float64(x(1000)-x(100)) / perDB, nil
}

// TestNamesDistinct: models that make the same file name do not overwrite each other.
func TestNamesDistinct(t *testing.T) {
	r := synthetic()
	for i, name := range []string{"Model A", "model-a", "Model/A"} {
		for k := range r.Recordings {
			if r.Recordings[k].Model == r.Analysis.Models[i].Model {
				r.Recordings[k].Model = name
			}
		}
		r.Analysis.Models[i].Model = name
	}
	seen := map[string]bool{}
	for _, f := range Figures(r) {
		if seen[f.Name] {
			t.Errorf("two figures are called %s", f.Name)
		}
		seen[f.Name] = true
	}
	for _, table := range AllTables(r) {
		if seen[table.Name] {
			t.Errorf("two tables are called %s", table.Name)
		}
		seen[table.Name] = true
	}
}

// TestScalesShared: plots that are compared have one scale.
func TestScalesShared(t *testing.T) {
	span := map[string]float64{}
	for _, f := range Figures(synthetic()) {
		var s float64
		key := f.Section
		switch {
		case f.Curves != nil:
			s, key = f.Curves.YMax-f.Curves.YMin, key+strings.Split(f.Name, "-")[0]+f.Model
		case f.Map != nil:
			s = f.Map.Limit
		default:
			continue
		}
		if f.Section == SectionCompensated { // raw and compensated, all models
			key = f.Section
		}
		if was, ok := span[key]; ok && math.Abs(was-s) > 1e-9 {
			t.Errorf("%s: span %g, others %g", f.Name, s, was)
		}
		span[key] = s
	}
	if len(span) < 5 {
		t.Errorf("only %d kinds of figure", len(span))
	}
}

func TestPlotOptionsRefused(t *testing.T) {
	for _, opt := range []PlotOptions{{WidthMM: 1}, {WidthMM: -3}, {FontSize: 100}, {Font: "fraktur"}, {Formats: []string{"gif"}}, {DPI: 5}} {
		if _, err := WritePlots(t.TempDir(), synthetic(), opt); err == nil {
			t.Errorf("%+v: no error", opt)
		}
	}
}

func TestStudyWithoutPanelHasFigures(t *testing.T) {
	r := synthetic()
	r.Analysis.Models = r.Analysis.Models[:1]
	m := &r.Analysis.Models[0]
	m.Worn, m.Verdicts, m.Corrections, m.Sensitivity = nil, nil, nil, nil
	m.Survey[0], m.Survey[1] = nil, nil
	for i := range m.Offsets {
		m.Offsets[i].Ears[0].Seen[1] = false
	}
	for _, f := range Figures(r) {
		if _, err := f.Render("svg", PlotOptions{}); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}
