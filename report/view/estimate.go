package view

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr"
	"asworn/report/table"
)

// quantile is the factor from standard error to half the interval: Student's t
// with df degrees of freedom, normal for df 0.
func quantile(confidence, df float64) float64 {
	if confidence <= 0 || confidence >= 1 {
		confidence = 0.95
	}
	p := 0.5 + confidence/2
	if df <= 0 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// half is half the interval of one axis of an estimate.
func half(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) float64 {
	return quantile(confidence, e.DF) * math.Sqrt(math.Max(0, e.Cov[a][a]))
}

// axisCell is one axis of an estimate with its interval, or a dash when the
// data say nothing about that axis.
func axisCell(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) table.Cell {
	if !e.Seen[a] {
		return table.None()
	}
	return table.PlusMinus(e.Value[a], half(e, a, confidence))
}
