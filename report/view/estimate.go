package view

import (
	"math"

	"asworn/fitcorr"
	"asworn/fitcorr/stats"
	"asworn/report/table"
)

// half is half the interval of one axis of an estimate.
func half(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) float64 {
	return stats.Coverage(confidence, e.DF) * math.Sqrt(math.Max(0, e.Cov[a][a]))
}

// axisCell is one axis of an estimate with its interval, or a dash when the
// data say nothing about that axis.
func axisCell(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) table.Cell {
	if !e.Seen[a] {
		return table.None()
	}
	return table.PlusMinus(e.Value[a], half(e, a, confidence))
}
