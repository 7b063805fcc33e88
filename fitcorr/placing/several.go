package placing

import (
	"math"
	"slices"
)

// Place is one of several places that explain a seating: the mean of both cups, from the
// marked position.
type Place struct {
	ForwardMM   float64 `json:"forward_mm"`
	UpMM        float64 `json:"up_mm"`
	Probability float64 `json:"probability"` // 0 to 1
}

// Of several places only those are reported that are told apart and may well be (our
// choice, no source).
const (
	placesApartMM  = 2.0
	placesApartSD  = 2.0  // standard deviations
	leastPlaceSeen = 0.05 // probability
)

// Places lists the places of the mixture, most probable first: normals that are
// not told apart, within placesApartMM or placesApartSD, count as one at their mean. Nil
// when one place explains the seating.
func (p Posterior) Places() []Place {
	var out []Place
	var spread []float64 // variance along the line between, of the first normal of each
	for _, normal := range p {
		at, cov := normal.plane()
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
			w := normal.Weight / (q.Probability + normal.Weight)
			q.ForwardMM += w * (at[0] - q.ForwardMM)
			q.UpMM += w * (at[1] - q.UpMM)
			q.Probability += normal.Weight
			continue
		}
		out = append(out, Place{at[0], at[1], normal.Weight})
		spread = append(spread, v)
	}
	out = slices.DeleteFunc(out, func(q Place) bool { return q.Probability < leastPlaceSeen })
	if len(out) < 2 {
		return nil
	}
	return out
}
