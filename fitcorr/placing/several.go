package placing

import (
	"math"
	"slices"
)

// Place is one of several places that explain a seating: the mean of both cups.
type Place struct {
	ForwardMM   float64 `json:"forward_mm"`
	UpMM        float64 `json:"up_mm"`
	Probability float64 `json:"probability"` // 0 to 1
}

// Of several places only those are reported that are told apart and may well be.
const (
	placesApartMM  = 2.0
	placesApartSD  = 2.0
	leastPlaceSeen = 0.05
)

// Places lists the places of the mixture, most probable first: parts that are
// not told apart count as one. Nil when one place explains the seating.
func (p Posterior) Places() []Place {
	var out []Place
	var spread []float64 // variance along the line between, of the first part of each
	for _, part := range p {
		at, cov := part.plane()
		v := math.Max(cov[0][0], cov[1][1])
		same := -1
		for i, q := range out {
			d := math.Hypot(at[0]-q.ForwardMM, at[1]-q.UpMM)
			if d < placesApartMM || d < placesApartSD*math.Sqrt(v+spread[i]) {
				same = i
				break
			}
		}
		if same >= 0 {
			q := &out[same]
			w := part.Weight / (q.Probability + part.Weight)
			q.ForwardMM += w * (at[0] - q.ForwardMM)
			q.UpMM += w * (at[1] - q.UpMM)
			q.Probability += part.Weight
			continue
		}
		out = append(out, Place{at[0], at[1], part.Weight})
		spread = append(spread, v)
	}
	out = slices.DeleteFunc(out, func(q Place) bool { return q.Probability < leastPlaceSeen })
	if len(out) < 2 {
		return nil
	}
	return out
}
