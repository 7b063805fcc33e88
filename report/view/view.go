// Package view says what a study's results hold, in tables, figures and
// sentences. A View is made once from a report.Results and everything else is
// read from it; it knows neither files nor formats, and estimates nothing.
package view

import (
	"sync"

	"asworn/report"
	"asworn/report/curves"
	"asworn/report/draw"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/tabulate"
)

// View is what results say. Tables and figures are made when they are first
// asked for, and once.
type View struct {
	*judged.Study
	tables  func() tabulate.Tables
	figures func() []figure.Figure
	curves  func() []curves.Curve
}

// New makes the view of results, which must not change afterwards. Results
// without anything in them give a view without tables and figures.
func New(results report.Results) *View {
	s := judged.Of(results)
	return &View{Study: s,
		tables:  sync.OnceValue(func() tabulate.Tables { return tabulate.Of(s) }),
		figures: sync.OnceValue(func() []figure.Figure { return draw.Of(s) }),
		curves:  sync.OnceValue(func() []curves.Curve { return curves.Of(s) })}
}

// Tables returns the tables of the report.
func (r *View) Tables() tabulate.Tables { return r.tables() }

// Figures returns every figure that the study has something for, in the order
// of the page.
func (r *View) Figures() []figure.Figure { return r.figures() }

// Curves returns every curve that has a text file of its own, in the order of models.
func (r *View) Curves() []curves.Curve { return r.curves() }
