package position

import (
	"math"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// heldOutPositions recovers the position of each displacement from a survey that did
// not hold it: the survey's prediction error turned around. It returns the RMS
// error per axis against the ruler, and by which factor the errors' variance
// exceeds what the model states for a seating and the ruler together. Factors
// below one count as one; a prior of a few rows steadies it.
func heldOutPositions(rows []seat.Seating, models *[2]Ear, ruler [3]float64, slip [2][]float64) (rms [3]float64, factor float64) {
	at := make([][3]float64, len(rows))
	for i, s := range rows {
		at[i] = s.Survey.Vector()
	}
	var sq, count [3]float64
	const priorValues = 6.0
	chi2, n := priorValues, priorValues
	for _, group := range survey.SameDisplacement(at) {
		reduced := *models
		var surveys [2]survey.Ear
		ok := true
		for e := range reduced {
			if reduced[e].Survey == nil {
				continue
			}
			var fits bool
			surveys[e], fits = reduced[e].Survey.Without(rows, e, slip[e], group)
			reduced[e].Survey = &surveys[e]
			ok = ok && fits
		}
		if !ok {
			continue
		}
		for _, i := range group {
			if slip[0][i] > 1 || slip[1][i] > 1 {
				continue
			}
			p, ok := place(Observe(rows[i], i, &reduced), &reduced, FixturePrior())
			if !ok {
				continue
			}
			_, head := Estimates(p.pos, p.cov, FixturePrior().Cov)
			for a := range 3 {
				d := head.Value[a] - at[i][a]
				sq[a] += d * d
				count[a]++
				if a < 2 {
					// One far miss must not rule.
					chi2 += math.Min(16, d*d/(head.Cov[a][a]+ruler[a]*ruler[a]))
					n++
				}
			}
		}
	}
	for a := range rms {
		if count[a] > 0 {
			rms[a] = math.Sqrt(sq[a] / count[a])
		}
	}
	return rms, math.Max(1, chi2/n)
}

// slipped raises the variance of survey rows that do not fit the surface that
// all others make: the headphone slipped, or the row names another
// displacement. It returns the rows' numbers.
func slipped(rows []seat.Seating, models *[2]Ear, slip *[2][]float64) []int {
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
	usual := math.Max(stats.Median(distance), 0.3)
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
