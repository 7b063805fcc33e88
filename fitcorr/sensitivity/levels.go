package sensitivity

import (
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// thirdLevels returns the third-octave levels (dB) of one ear of each
// seating: the power average of the kept bands inside. Every seating is
// averaged over the same kept bands, those valid in at least half of the
// seatings, so that a band missing from one cannot pose as a difference. A
// level is NaN where fewer than half of the eight kept bands remain or where
// more than a quarter of the remaining ones are not valid in that seating.
func thirdLevels(ss []seat.Seating, ear capture.Ear) [][]float64 {
	out := make([][]float64, len(ss))
	for i := range out {
		out[i] = make([]float64, band.Thirds)
	}
	for t := range band.Thirds {
		var used []int
		for b := t * seat.PerThird; b < (t+1)*seat.PerThird; b++ {
			n := 0
			for _, s := range ss {
				if s.Ears[ear].Counts(b) {
					n++
				}
			}
			if 2*n >= len(ss) {
				used = append(used, b)
			}
		}
		for i, s := range ss {
			out[i][t] = math.NaN()
			if 2*len(used) < seat.PerThird {
				continue
			}
			power, bad := 0.0, 0
			for _, b := range used {
				if !s.Ears[ear].Counts(b) {
					bad++
				}
				if b < len(s.Ears[ear].LevelDB) {
					power += math.Pow(10, s.Ears[ear].LevelDB[b]/10)
				}
			}
			if level := 10 * math.Log10(power/float64(len(used))); 4*bad <= len(used) && !math.IsInf(level, 0) {
				out[i][t] = level
			}
		}
	}
	return out
}

// uniqueNames returns the distinct names in order of first appearance.
func uniqueNames(names []string) []string {
	var out []string
	seen := make(map[string]bool)
	for _, n := range names {
		if !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}
