package placing

import (
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// Observation is one seating's level, both ears, relative to
// the survey's level at the marked position.
type Observation struct {
	index    int // into the seatings of the model
	Present  [2]bool
	Level    [2][]float64
	Variance [2][]float64
}

// Observe joins the levels of a seating, dB, in the position bands of the surveyed
// ears, relative to the level at the mark; bands that do not count get survey.MissingVar.
// index is the seating's place among those of its model.
func Observe(s seat.Seating, index int, models *[2]Ear) Observation {
	o := Observation{index: index}
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
