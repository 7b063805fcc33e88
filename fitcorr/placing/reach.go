package placing

import "math"

// What lies beyond the survey's displacements no row tests, and the surface there is wrong
// by more than it states: of simulated seatings placed more than 1 mm beyond them 86 % were
// within the stated 95 %. So the place of a seating there is uncertain by another beyondShare of how
// far beyond it lies (our choice, from simulation: docs/developing/offsets.md).
const beyondShare = 0.4

// reach is how far a survey's displacements go, mm, in each of some directions of the forward–up
// plane (the support function of their convex hull).
type reach [72]float64

// newReach is that of the rows of both ears.
func newReach(models *[2]Ear) (r reach) {
	for k := range r {
		u, v := r.direction(k)
		r[k] = math.Inf(-1)
		for e := range models {
			if s := models[e].Survey; s != nil {
				for _, at := range s.At {
					r[k] = math.Max(r[k], u*at[0]+v*at[1])
				}
			}
		}
	}
	return r
}

// direction is the unit vector of the k-th direction, forward and up.
func (r *reach) direction(k int) (forward, up float64) {
	up, forward = math.Sincos(2 * math.Pi * float64(k) / float64(len(r)))
	return forward, up
}

// beyond is how far the mean of both cups (mm, mm, degrees, twice) lies outside the
// displacements' convex hull, mm; 0 inside.
func (r *reach) beyond(pos [HeadsetDim]float64) (mm float64) {
	for k := range r {
		u, v := r.direction(k)
		mm = math.Max(mm, u*(pos[0]+pos[3])/2+v*(pos[1]+pos[4])/2-r[k])
	}
	return mm
}
