package position

import (
	"math"
	"slices"

	"asworn/capture/order"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
)

// slipped raises the variance of survey rows that do not fit the surface that
// all others make: the headphone slipped, or the row names another
// displacement. It returns the rows' numbers.
func slipped(rows []seat.Seating, models *[2]placing.Ear, slip *[2][]float64) []int {
	var out []int
	distance := make([]float64, len(rows))
	for e := range models {
		s := models[e].Survey
		if s == nil {
			continue
		}
		for i := range rows {
			// Held-out error over its standard deviation, RMS over bands: e_i =
			// (A y)_i / A_ii with variance σ²/A_ii.
			var sum, n float64
			for _, z := range s.Zones {
				for b := max(z.From, models[e].Bands.First); b < z.To; b++ {
					if s.Valid[b] && s.Scatter[b] > 0 {
						v := s.Weights[i][b] / s.Scatter[b]
						sum += v * v / z.Inv[i][i]
						n++
					}
				}
			}
			distance[i] += sum / math.Max(1, n)
		}
	}
	usual := math.Max(order.Median(slices.Clone(distance)), 0.3)
	const far = 8 // times the median: one direction's χ² rarely goes there
	for i, d := range distance {
		if d > far*usual {
			out = append(out, i)
			for e := range slip {
				slip[e][i] = math.Max(100, d*d)
			}
		}
	}
	return out
}
