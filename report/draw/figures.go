// Package draw says what a study's results hold in figures. It knows neither files
// nor how a figure becomes a picture (package figure), and estimates nothing.
package draw

import (
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/text"
)

// Of makes every figure that the study has something for, in the order
// of the page.
func Of(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	out = append(out, differenceFigures(r)...)
	out = append(out, finalFigures(r)...)
	out = append(out, wornFigures(r)...)
	out = append(out, mapFigures(r)...)
	out = append(out, leakFigures(r)...)
	out = append(out, correctedFigures(r)...)
	out = append(out, compensatedFigures(r)...)
	out = append(out, sensitivityFigures(r)...)
	out = append(out, surveyFigures(r)...)
	out = append(out, budgetFigures(r)...)
	distinct := text.Names{}
	for i := range out {
		out[i].Name = distinct.Next(out[i].Name)
	}
	return out
}
