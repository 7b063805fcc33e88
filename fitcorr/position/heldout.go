package position

import (
	"math"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// calibration is what a survey's own rows show of how well it places: each
// displacement is recovered from a survey that did not hold it.
type calibration struct {
	rms    [3]float64     // error per axis, of the mean of both cups, against the ruler: mm, mm, degrees
	temper placing.Temper // Headset from 1, Apart from apartLeast, to temperMost
}

// The temper divides the information of the sound. Its prior is normal on the
// logarithm with temperLogSD, about 1: surveys whose intervals are to be
// doubled (temper 4) are common (no source; the held-out rows soon rule).
const (
	temperMost = 1000.0
	// apartLeast is below 1, as the surface's variance counts as of each ear by itself, and
	// most of it (rulers, cushions) is of both.
	apartLeast  = 1.0 / 8
	temperSteps = 28
	temperLogSD = 1.5
)

// heldOutRow is a survey row placed without its displacement.
type heldOutRow struct {
	at    [3]float64 // the ruler's displacement: mm, mm, degrees
	trial placing.Trial
}

// heldOut places every row that did not slip by a survey without its displacement.
func heldOut(rows []seat.Seating, models *[2]placing.Ear, slip [2][]float64) []heldOutRow {
	at := make([][3]float64, len(rows))
	for i, s := range rows {
		at[i] = s.Survey.Vector()
	}
	var out []heldOutRow
	var pl *placing.Placer
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
		pl = pl.Next(&reduced)
		for _, i := range group {
			if slip[0][i] > 1 || slip[1][i] > 1 {
				continue
			}
			if modes := pl.Modes(placing.Observe(rows[i], &reduced), placing.FixturePrior()); len(modes) > 0 {
				out = append(out, heldOutRow{at[i], placing.NewTrial(modes, placing.FixturePrior())})
			}
		}
	}
	return out
}

// calibrate chooses the tempers by the log density that the tempered mixtures
// give to the true displacements of the rows held out, df being the degrees of
// freedom of the intervals and ruler the standard deviation of a stated displacement: first
// one for all, by the mean of both cups, then that of half their difference, which is none
// but for the ruler. No miss is capped: rows recovered far from where they were make all
// intervals as wide as the misses.
func calibrate(held []heldOutRow, ruler [3]float64, df float64) calibration {
	variance := [2]float64{ruler[0] * ruler[0], ruler[1] * ruler[1]}
	half := [2]float64{rulerOwn * rulerOwn / 2 * variance[0], rulerOwn * rulerOwn / 2 * variance[1]}
	headset := mostProbable(held, 1, func(t float64, row heldOutRow) float64 {
		return row.trial.Posterior(placing.Temper{Headset: t, Apart: t}).LogDensity([2]float64(row.at[:2]), variance, df)
	})
	c := calibration{temper: placing.Temper{Headset: headset}}
	c.temper.Apart = mostProbable(held, apartLeast, func(t float64, row heldOutRow) float64 {
		return row.trial.Posterior(placing.Temper{Headset: headset, Apart: t}).LogDensityApart([2]float64{}, half, df)
	})
	for _, row := range held {
		pos, _ := row.trial.Posterior(c.temper).Moments()
		for a := range c.rms {
			d := (pos[a]+pos[3+a])/2 - row.at[a]
			c.rms[a] += d * d / float64(len(held))
		}
	}
	for a := range c.rms {
		c.rms[a] = math.Sqrt(c.rms[a])
	}
	return c
}

// mostProbable is the temper, least or more, of the greatest score, the prior's and that of all rows.
func mostProbable(held []heldOutRow, least float64, of func(temper float64, row heldOutRow) float64) float64 {
	most, best := 1.0, math.Inf(-1)
	for k := range temperSteps {
		log := math.Log(least) + math.Log(temperMost/least)*float64(k)/(temperSteps-1)
		score := -log * log / (2 * temperLogSD * temperLogSD)
		for _, row := range held {
			score += of(math.Exp(log), row)
		}
		if score > best {
			best, most = score, math.Exp(log)
		}
	}
	return most
}
