package correct

import (
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// displacementHelps holds out each displacement of the survey in turn and
// reports, per third octave with its neighbours, whether predicting it from the
// others comes nearer to what was measured there than leaving the level at the
// marked position does. A row that the survey's fit names as slipped has no say:
// where it truly was is not known.
func displacementHelps(ss []seat.Seating, point capture.Point, e *survey.Ear, ear int) []bool {
	rows := survey.Rows(ss, point)
	if len(rows) != len(e.At) {
		return make([]bool, band.Thirds) // not the rows the survey was made from
	}
	slipped := e.Slipped()
	before, after := make([]float64, band.Thirds), make([]float64, band.Thirds)
	for _, group := range survey.SameDisplacement(e.At) {
		if e.At[group[0]] == [3]float64{} {
			continue // at the marked position there is nothing to correct
		}
		for _, z := range e.Zones {
			held, _, ok := survey.LeftOutErrors(group, func(i, j int) float64 { return z.Inv[i][j] }, func(i int) []float64 { return e.Weights[i][z.From:z.To] })
			if !ok {
				continue
			}
			for a, i := range group {
				if slipped[i] {
					continue
				}
				for b := z.From; b < z.To; b++ {
					if !e.Valid[b] {
						continue
					}
					was := rows[i].Ears[ear].LevelDB[b] - e.BaseDB[b]
					is := held.At(a, b-z.From)
					before[b/seat.PerThird] += was * was
					after[b/seat.PerThird] += is * is
				}
			}
		}
	}
	return nearerAround(before, after)
}

// heldOut compares the fixture's seatings at one point and ear with each
// other, before and after each was moved to the other's position.
type heldOut struct {
	seatings      int
	before, after []float64             // mean square over pairs per third octave, dB²
	single        map[string][2]float64 // the same of one seating, 1 kHz to 10 kHz
}

// minHeldOut is the number of fixture seatings below which nothing can be held out.
const minHeldOut = 3

// holdOutSeatings predicts each fixture seating's curve from every other one,
// by the survey and all placed rows but the one held out. Rows with a known
// displacement take part with that; the others with their estimated offset,
// which at the drum is independent of the curves compared.
func (c *Corrector) holdOutSeatings(ss []seat.Seating, point capture.Point, ear int) heldOut {
	type member struct {
		s    seat.Seating
		view view
		loss []float64 // loss to the leak
	}
	h := heldOut{before: make([]float64, band.Thirds), after: make([]float64, band.Thirds), single: map[string][2]float64{}}
	all := band.All()
	e := &c.survey.Ears[ear]
	mark, tells := e.AtMark(), e.TellsPlace()
	var members []member
	for _, s := range ss {
		if s.Point != point || !s.OnFixture() || s.Model == "" || s.Seal != "" {
			continue
		}
		m := member{s: s, loss: make([]float64, band.Count)}
		var at [3]float64
		switch o, ok := c.offsetOf(s); {
		case s.Displaced() && point != c.point: // no row of the survey
			at = s.Survey.Vector()
		case !s.Displaced() && ok:
			at = o.Ears[ear].Value
			for b, f := range all {
				m.loss[b], _ = o.Leak[ear].LossAt(f.Mid)
			}
		default:
			continue
		}
		m.view = look(e, at, mark)
		members = append(members, m)
	}
	h.seatings = len(members)
	pairs := make([]float64, band.Thirds)
	for i, a := range members {
		var wide [2]float64
		bands := 0.0
		for k, b := range members {
			if i == k {
				continue
			}
			held := -1 // a displaced row is no placed row
			if !b.s.Displaced() {
				held = b.s.Number
			}
			_, others := c.own(ear, held)
			level := learn(e, [2]view{b.view, a.view}, others, heres(others)).level
			for n, f := range all {
				if !a.s.Ears[ear].Counts(n) || !b.s.Ears[ear].Counts(n) {
					continue
				}
				was := a.s.Ears[ear].LevelDB[n] - b.s.Ears[ear].LevelDB[n]
				is := was
				if tells[n] {
					is += level[0][n] - level[1][n]
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

// listenerPlace is where one listener wears the headphone, as a level change
// of the survey per kept band, and where all the others do on average.
type listenerPlace struct{ own, others []float64 }

func listenerPlaces(survey *survey.Survey, offsets []position.Offset, ear int) []listenerPlace {
	var subjects []string
	sums, counts := map[string][3]float64{}, map[string]float64{}
	for _, o := range offsets {
		if !o.Worn() {
			continue
		}
		if counts[o.Subject] == 0 {
			subjects = append(subjects, o.Subject)
		}
		v := sums[o.Subject]
		for a := range v {
			v[a] += o.Ears[ear].Value[a]
		}
		sums[o.Subject] = v
		counts[o.Subject]++
	}
	var out []listenerPlace
	if len(subjects) < 2 {
		return nil
	}
	for _, l := range subjects {
		var own, others [3]float64
		for _, s := range subjects {
			for a := range own {
				v := sums[s][a] / counts[s]
				if s == l {
					own[a] = v
				} else {
					others[a] += v / float64(len(subjects)-1)
				}
			}
		}
		var p listenerPlace
		p.own, _ = survey.Predict(ear, own)
		p.others, _ = survey.Predict(ear, others)
		out = append(out, p)
	}
	return out
}

// leaveOneListenerOut reports per third octave whether a seating at d comes
// nearer to where the held-out listeners wear the headphone when it is moved
// to the mean of the other listeners, in the third octave with its neighbours.
func (c *Corrector) leaveOneListenerOut(d [3]float64, ear int) []bool {
	here, _ := c.survey.Predict(ear, d)
	before, after := make([]float64, band.Thirds), make([]float64, band.Thirds)
	for _, l := range c.listeners[ear] {
		for b := range here {
			was, is := l.own[b]-here[b], l.own[b]-l.others[b]
			before[b/seat.PerThird] += was * was
			after[b/seat.PerThird] += is * is
		}
	}
	return nearerAround(before, after)
}

// nearerAround reports per third octave whether the mean squares after are
// less than those before, the neighbours counted in: over one third octave
// alone few displacements or listeners decide by luck.
func nearerAround(before, after []float64) []bool {
	out := make([]bool, len(before))
	for t := range out {
		var was, is float64
		for k := max(0, t-1); k < min(len(before), t+2); k++ {
			was += before[k]
			is += after[k]
		}
		out[t] = is < was
	}
	return out
}
