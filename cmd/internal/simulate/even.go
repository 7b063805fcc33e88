package simulate

import "asworn/capture"

// even is a world whose cups answer opposite displacements nearly alike, as a
// driver centred in a round cup does over an ear that is nearly symmetric: the
// pressure is that of the placement with a share of that of its mirror image
// about the mark.
type even struct{ Acoustics }

// evenShare is the mirror image's; half would be exactly even.
const evenShare = 0.46

// Headphone implements Acoustics.
func (w even) Headphone(model, subject int, ear capture.Ear, p Placement, g *Grid) []complex128 {
	out := w.Acoustics.Headphone(model, subject, ear, p, g)
	mirror := p
	mirror.ForwardMM, mirror.UpMM = -p.ForwardMM, -p.UpMM
	for i, v := range w.Acoustics.Headphone(model, subject, ear, mirror, g) {
		out[i] = (1-evenShare)*out[i] + evenShare*v
	}
	return out
}
