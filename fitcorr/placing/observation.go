package placing

import (
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// Observation is one seating's level, both ears, relative to
// the survey's level at the marked position. Slices are over the position bands; those of
// an ear without a survey are nil.
type Observation struct {
	Present  [2]bool      // an ear is there when a third of its bands count
	Level    [2][]float64 // y of the package comment, dB; 0 in a band that does not count
	Variance [2][]float64 // of the noise, dB²; survey.MissingVar in a band that does not count
}

// Observe joins the levels of a seating, dB, in the position bands of the surveyed
// ears, relative to the level at the mark; bands that do not count get survey.MissingVar.
func Observe(s seat.Seating, models *[2]Ear) Observation {
	var o Observation
	for e := range models {
		m := &models[e]
		if m.Survey == nil {
			continue
		}
		rel := s.Ears[e]
		rel.LevelDB = append([]float64(nil), rel.LevelDB...)
		for b := range rel.LevelDB {
			if b < len(m.Survey.BaseDB) {
				rel.LevelDB[b] -= m.Survey.BaseDB[b]
			}
		}
		o.Level[e], o.Variance[e] = m.Bands.Join(rel, m.Survey.Valid)
		count := 0
		for _, v := range o.Variance[e] {
			if v < survey.MissingVar {
				count++
			}
		}
		o.Present[e] = 3*count >= m.Bands.N
	}
	return o
}
