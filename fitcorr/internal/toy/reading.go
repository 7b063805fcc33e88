package toy

import (
	"math/rand/v2"
	"slices"

	"asworn/capture"
	"asworn/fitcorr/seat"
)

// Read reads every headphone's position off its head, with the given errors.
func Read(ss []seat.Seating, truth Truth, seed uint64, one, landmark float64) []seat.Seating {
	rng := rand.New(rand.NewPCG(seed, 99))
	marks := map[string][2]float64{}
	at := func(subject string) [2]float64 {
		if _, ok := marks[subject]; !ok {
			marks[subject] = [2]float64{landmark * rng.NormFloat64(), landmark * rng.NormFloat64()}
		}
		return marks[subject]
	}
	out := slices.Clone(ss)
	for i, s := range out {
		pos, ok := truth.Pos[s.ID]
		if !ok {
			continue
		}
		m := at(s.Subject)
		var r [2]float64
		for a := range r {
			r[a] = 30 + (pos[0][a]+pos[1][a])/2 + m[a] + one*rng.NormFloat64()
		}
		out[i].Read = &capture.Reading{ForwardMM: r[0], UpMM: r[1]}
	}
	return out
}
