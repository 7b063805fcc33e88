package simulate

import (
	"math"
	"math/rand/v2"
)

// A fallen microphone: how far out of place, and by how much the cup leans then
// (working assumptions, no source).
const (
	fallenMM   = 4.0
	fallenTilt = 6.0 // degrees
)

// drawFallen spoils worn seatings that are there already, so that everything
// else of the study stays as it is: the left microphone of so many worn
// seatings per model falls out of place.
func (s *Study) drawFallen(r *rand.Rand) {
	for m := range s.Models {
		var worn []int
		for i, row := range s.Rows {
			if row.ModelIndex == m && row.Worn() {
				worn = append(worn, i)
			}
		}
		r.Shuffle(len(worn), func(i, j int) { worn[i], worn[j] = worn[j], worn[i] })
		for _, i := range worn[:min(len(worn), s.Design.FallenMicrophones)] {
			phi := 2 * math.Pi * r.Float64()
			p := &s.Rows[i].True[0]
			p.MicMM[0] += fallenMM * math.Cos(phi)
			p.MicMM[1] += fallenMM * math.Sin(phi)
			p.TiltDeg[0] += fallenTilt
		}
	}
}
