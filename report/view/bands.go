package view

import (
	"math"

	"asworn/fitcorr"
	"asworn/fitcorr/stats"
	"asworn/report/table"
)

// biasCounts reports whether the bias of a third-octave band rests on both the
// panel and the fixture.
func biasCounts(s fitcorr.Sensitivity, i int) bool {
	return i < len(s.BiasDB) && i < len(s.BiasSE) &&
		(i >= len(s.PanelValid) || s.PanelValid[i]) && (i >= len(s.FixtureValid) || s.FixtureValid[i])
}

// biasHalf is half the interval of the bias of a third-octave band.
func (r *View) biasHalf(s fitcorr.Sensitivity, i int) float64 {
	df := 0.0
	if i < len(s.BiasDF) {
		df = s.BiasDF[i]
	}
	return stats.Coverage(r.Options.Confidence, df) * s.BiasSE[i]
}

// biasRMS is the RMS of fixture minus worn over the third octaves from 50 Hz
// to 10 kHz that count.
func (r *View) biasRMS(s fitcorr.Sensitivity) table.Cell {
	var sum float64
	n := 0
	for i, f := range r.ThirdsHz {
		if f > 49 && f < 10100 && biasCounts(s, i) {
			sum += s.BiasDB[i] * s.BiasDB[i]
			n++
		}
	}
	if n == 0 {
		return table.None()
	}
	return table.Value(math.Sqrt(sum/float64(n)), 1)
}
