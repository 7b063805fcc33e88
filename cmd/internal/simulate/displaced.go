package simulate

import (
	"math"
	"math/rand/v2"

	"asworn/capture"
)

// displacedPlan is what a displaced listener is asked for on every model.
var displacedPlan = []capture.Displacement{{ForwardMM: 4}, {ForwardMM: -4}, {UpMM: 4}, {UpMM: -4}}

// displacedCare is how far a usual place that somebody looks for on purpose
// scatters, as a share of the scatter between ordinary seatings (a working
// assumption, no source).
const displacedCare = 0.4

// drawDisplaced adds what displaced listeners do, after everything else and
// from a stream of its own, so that the rest of the study stays as it is. The
// displacement on the sheet is from the listener's own usual place (own, per
// model, listener and ear), which nobody knows in the fixture's coordinates;
// the truth is in those.
func (s *Study) drawDisplaced(src *rand.Rand, own [][][2][3]float64) {
	d := s.Design
	r := &drawer{Rand: src, d: d}
	for m := range s.Models {
		within := s.Worn[m].WithinSD
		for i := range min(d.DisplacedListeners, d.Listeners) {
			for k, meant := range displacedPlan {
				row := s.row(m, i, subjectName(i), capture.Blocked, d.Seatings+k+1)
				row.Survey = &meant
				centre := own[m][i]
				for a, v := range meant.Vector() {
					sd := displacedCare * within[a]
					ruler := d.RulerSD
					if a == 2 {
						ruler *= 1.5
					}
					common := v + r.normal(ruler) + r.normal(sd*math.Sqrt(0.9))
					for e := range centre {
						centre[e][a] += common
						if a < 2 {
							centre[e][a] += r.normal(sd * math.Sqrt(0.2))
						}
					}
				}
				for e := range row.True {
					row.True[e] = r.around(centre[e], true)
					if height := r.slitMM(s.leaks[i]); !s.Open[m] {
						row.True[e].SlitMM = height
					}
				}
				s.Rows = append(s.Rows, row)
			}
		}
	}
}
