package figure

import (
	"math"
	"slices"

	"gonum.org/v1/plot/plotter"
)

// runs cuts a curve where it has nothing to draw.
func Runs(c *Curves, y []float64) []plotter.XYs {
	var out []plotter.XYs
	var cur plotter.XYs
	flush := func() {
		if len(cur) > 1 {
			out = append(out, cur)
		}
		cur = nil
	}
	for i, v := range y {
		if math.IsNaN(v) || c.Hz[i] < 19 || c.Hz[i] > 20600 {
			flush()
			continue
		}
		cur = append(cur, plotter.XY{X: min(max(c.Hz[i], 20), 20000), Y: v})
	}
	flush()
	return out
}

// bandPolygons are the areas between the lower and the upper limit.
func BandPolygons(c *Curves, s Series) []plotter.XYs {
	if s.Lower == nil {
		return nil
	}
	lower, upper := Runs(c, clampAll(s.Lower, c)), Runs(c, clampAll(s.Upper, c))
	var out []plotter.XYs
	for i := range min(len(lower), len(upper)) {
		poly := slices.Clone(upper[i])
		back := slices.Clone(lower[i])
		slices.Reverse(back)
		out = append(out, append(poly, back...))
	}
	return out
}

func clampAll(y []float64, c *Curves) []float64 {
	out := make([]float64, len(y))
	for i, v := range y {
		out[i] = min(max(v, c.YMin), c.YMax) // NaN stays NaN
	}
	return out
}
