package view

import (
	"math"
	"strings"
	"testing"

	"asworn/report/figure"
	"asworn/report/internal/sample"
)

// TestNamesDistinct: models that make the same file name do not overwrite each other.
func TestNamesDistinct(t *testing.T) {
	r := sample.Results()
	for i, name := range []string{"Model A", "model-a", "Model/A"} {
		for k := range r.Recordings {
			if r.Recordings[k].Model == r.Analysis.Models[i].Model {
				r.Recordings[k].Model = name
			}
		}
		r.Analysis.Models[i].Model = name
	}
	seen := map[string]bool{}
	for _, f := range New(r).Figures() {
		if seen[f.Name] {
			t.Errorf("two figures are called %s", f.Name)
		}
		seen[f.Name] = true
	}
	for _, tab := range New(r).Tables().All() {
		if seen[tab.Name] {
			t.Errorf("two tables are called %s", tab.Name)
		}
		seen[tab.Name] = true
	}
}

// TestScalesShared: plots that are compared have one scale.
func TestScalesShared(t *testing.T) {
	span := map[string]float64{}
	for _, f := range New(sample.Results()).Figures() {
		var s float64
		key := string(f.Section)
		switch {
		case f.Curves != nil:
			s, key = f.Curves.YMax-f.Curves.YMin, key+strings.Split(f.Name, "-")[0]+f.Model
		case f.Map != nil:
			s = f.Map.Limit
		default:
			continue
		}
		if f.Section == figure.SectionCompensated { // raw and compensated, all models
			key = string(f.Section)
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
