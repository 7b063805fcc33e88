package correct

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// heldOut compares the fixture's seatings at one point and ear with each
// other, before and after each was moved to the other's position.
type heldOut struct {
	seatings      int
	before, after []float64             // mean square over pairs per third octave, dB²
	single        map[string][2]float64 // the same of one seating, 1 kHz to 10 kHz
}

// minHeldOut is the number of fixture seatings below which nothing can be held out.
const minHeldOut = 3

// helps reports whether the seatings came nearer to each other in a third
// octave, its neighbours counted in, and over the whole part that it belongs
// to, lest a survey that knows nothing be right in places by luck.
func (h *heldOut) helps(third int, part correctionPart) bool {
	if h.seatings < minHeldOut {
		return false
	}
	nearer := func(from, to int) bool {
		sum, n := 0.0, 0.0
		for t := max(0, from); t < min(band.Thirds, to); t++ {
			if h.before[t] > 0 {
				sum += math.Log(h.after[t] / h.before[t])
				n++
			}
		}
		return n > 0 && sum < 0
	}
	return nearer(third-1, third+2) && nearer(part.from, part.to)
}

func (h *heldOut) why(p capture.Point) string {
	if h.seatings < minHeldOut {
		return fmt.Sprintf("%d %s seatings on the fixture are too few to hold one out (%d are needed)", h.seatings, p, minHeldOut)
	}
	return fmt.Sprintf("held-out %s seatings do not come nearer", p)
}

// distance returns the RMS distance of a seating to the others, 1 kHz to
// 10 kHz, before and after it is moved to their positions.
func (h *heldOut) distance(id string) (before, after float64) {
	d := h.single[id]
	return d[0], d[1]
}

// heldOutSeating is a fixture seating that others are held against.
type heldOutSeating struct {
	s      seat.Seating
	placed *placedSeating // the seating as one; nil for a displaced row
	heard  []bool         // kept bands that count
	loss   []float64      // loss to the leak, dB per kept band
	levels *mat.Dense     // at all of them, as survey and placed seatings but for this tell: rows × kept bands, dB
}

// heldOutSeatings are the seatings on the fixture at one point with a position: rows with a
// known displacement that made no part of the survey, and ordinary ones at their estimated
// offset, which at the drum is independent of the curves compared.
func (c *Corrector) heldOutSeatings(ss []seat.Seating, point capture.Point, ear int) (out []heldOutSeating) {
	var places [][3]float64
	for _, s := range ss {
		if s.Point != point || !s.OnFixture() || s.Model == "" || s.Seal != "" {
			continue
		}
		m := heldOutSeating{s: s, heard: make([]bool, band.Count), loss: make([]float64, band.Count)}
		for b := range m.heard {
			m.heard[b] = s.Ears[ear].Counts(b)
		}
		var at [3]float64
		switch o, ok := c.offsetOf(s); {
		case s.Displaced() && point != c.point: // no row of the survey
			at = s.Survey.Vector()
		case !s.Displaced() && ok:
			at, m.placed = o.Ears[ear].Value, c.placed(ear, s.Number)
			for b, f := range band.All() {
				m.loss[b], _ = o.Leak[ear].LossAt(f.Mid)
			}
		default:
			continue
		}
		places = append(places, at)
		out = append(out, m)
	}
	if len(out) == 0 {
		return nil
	}
	seen := c.ground[ear].see(places, nil)
	together := c.together[ear][correctionDraws]
	all := together.levels(seen, nil)
	for i := range out {
		out[i].levels = all
		if out[i].placed != nil {
			out[i].levels = together.levels(seen, out[i].placed)
		}
	}
	return out
}

// holdOutSeatings predicts each fixture seating's curve from every other one,
// by the survey and all placed seatings but the one held out.
func (c *Corrector) holdOutSeatings(ss []seat.Seating, point capture.Point, ear int) heldOut {
	h := heldOut{before: make([]float64, band.Thirds), after: make([]float64, band.Thirds), single: map[string][2]float64{}}
	tells := c.ground[ear].tells
	members := c.heldOutSeatings(ss, point, ear)
	h.seatings = len(members)
	pairs, all := make([]float64, band.Thirds), band.All()
	for i := range members {
		a := &members[i]
		var wide [2]float64
		bands := 0.0
		for k := range members {
			if i == k {
				continue
			}
			b := &members[k]
			there, here := b.levels.RawRowView(k), b.levels.RawRowView(i)
			for n, f := range all {
				if !a.heard[n] || !b.heard[n] {
					continue
				}
				was := a.s.Ears[ear].LevelDB[n] - b.s.Ears[ear].LevelDB[n]
				is := was
				if tells[n] {
					is += there[n] - here[n]
				}
				if f.Mid < leakTopHz {
					is += a.loss[n] - b.loss[n]
				}
				t := n / seat.PerThird
				h.before[t] += was * was
				h.after[t] += is * is
				pairs[t]++
				if f.Mid >= 1000 && f.Mid <= 10000 {
					wide[0] += was * was
					wide[1] += is * is
					bands++
				}
			}
		}
		if bands > 0 {
			h.single[a.s.ID] = [2]float64{math.Sqrt(wide[0] / bands), math.Sqrt(wide[1] / bands)}
		}
	}
	for t := range pairs {
		if pairs[t] > 0 {
			h.before[t] /= pairs[t]
			h.after[t] /= pairs[t]
		}
	}
	return h
}
