package earlier

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// id names a remembered recording, as no file of a study can be named.
func id(study, recording int) string { return fmt.Sprintf("//earlier/%d/%d", study, recording) }

// meanCurve is the mean level of one ear over recordings, per kept band.
func meanCurve(of [][2]seat.Curve, ear int) seat.Curve {
	out := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	for b := range band.Count {
		var n, variance float64
		for _, ears := range of {
			if c := ears[ear]; c.Counts(b) {
				out.LevelDB[b] += c.LevelDB[b]
				variance += c.StdErrDB[b] * c.StdErrDB[b]
				n++
			}
		}
		if n > 0 {
			out.LevelDB[b] /= n
			out.StdErrDB[b] = math.Sqrt(variance) / n
			out.Valid[b] = true
		}
	}
	return out
}

// rebased is a curve less from, plus to; bands count that count in all three.
func rebased(c, from, to seat.Curve) seat.Curve {
	out := seat.Curve{LevelDB: slices.Clone(c.LevelDB), StdErrDB: slices.Clone(c.StdErrDB), Valid: slices.Clone(c.Valid)}
	for b := range out.LevelDB {
		out.Valid[b] = c.Counts(b) && from.Valid[b] && to.Valid[b]
		out.LevelDB[b] += to.LevelDB[b] - from.LevelDB[b]
		out.StdErrDB[b] = math.Hypot(out.StdErrDB[b], from.StdErrDB[b])
	}
	return out
}
