package view

import (
	"asworn/report/figure"
	"asworn/report/text"
)

// Figures returns every figure that the study has something for, in the order
// of the page.
func (r *View) Figures() []figure.Figure { return r.figures() }

// makeFigures makes every figure that the study has something for, in the order
// of the page.
func (r *View) makeFigures() []figure.Figure {
	var out []figure.Figure
	out = append(out, r.finalFigures()...)
	out = append(out, r.wornFigures()...)
	out = append(out, r.mapFigures()...)
	out = append(out, r.leakFigures()...)
	out = append(out, r.correctedFigures()...)
	out = append(out, r.compensatedFigures()...)
	out = append(out, r.sensitivityFigures()...)
	out = append(out, r.surveyFigures()...)
	out = append(out, r.budgetFigures()...)
	distinct := text.Names{}
	for i := range out {
		out[i].Name = distinct.Next(out[i].Name)
	}
	return out
}
