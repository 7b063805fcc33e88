package correct

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// placedSeatings returns the seatings among ss at the survey's point that have an
// offset, by number, for one ear.
func (c *Corrector) placedSeatings(ss []seat.Seating, ear int) map[int]*placedSeating {
	e := &c.survey.Ears[ear]
	mark, tells := e.AtMark(), e.TellsPlace()
	all := band.All()
	out := map[int]*placedSeating{}
	for _, s := range ss {
		o, ok := c.offsetOf(s)
		if !ok || !s.OrdinaryOnFixture() || s.Point != c.point {
			continue
		}
		w := &placedSeating{at: o.Ears[ear], here: newView(e, o.Ears[ear].Value, mark), level: make([]float64, band.Count), noise: 1}
		for b, f := range all {
			w.level[b] = s.Ears[ear].LevelDB[b] - e.BaseDB[b]
			if f.Mid < leakTopHz {
				loss, _ := o.Leak[ear].LossAt(f.Mid)
				w.level[b] += loss
			}
		}
		for _, z := range e.Zones {
			counts := true
			for b := z.From; b < z.To; b++ {
				counts = counts && (!tells[b] || s.Ears[ear].Counts(b))
			}
			w.counts = append(w.counts, counts)
		}
		rng := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+3)+s.Number)))
		root := stats.Root3(w.at.Cov)
		for range correctionDraws {
			w.drawn = append(w.drawn, newView(e, stats.NormalDraw(rng, w.at.Value, root), mark))
		}
		w.noise = max(1, misfit(e, w, tells))
		out[s.Number] = w
	}
	return out
}

// misfit returns the mean square, over the bands that tell positions, of what
// the survey leaves of a seating's level at its place, over what scatter,
// survey and the uncertainty of the place explain.
func misfit(e *survey.Ear, w *placedSeating, tells []bool) float64 {
	at, variance := w.here.level, make([]float64, band.Count)
	for _, d := range w.drawn {
		for b, v := range d.level {
			variance[b] += (v - at[b]) * (v - at[b]) / float64(len(w.drawn))
		}
	}
	sum, n := 0.0, 0.0
	k := make([]float64, len(e.At))
	for zi, z := range e.Zones {
		if !w.counts[zi] {
			continue
		}
		for i := range e.At {
			k[i] = z.Kernel.At(&w.at.Value, &e.At[i])
		}
		surface := math.Max(0, z.Kernel.At(&w.at.Value, &w.at.Value)-stats.QuadForm(z.Inv, k))
		for b := z.From; b < z.To; b++ {
			if tells[b] {
				v := w.level[b] - at[b]
				sum += v * v / (variance[b] + (1+surface)*e.Scatter[b]*e.Scatter[b])
				n++
			}
		}
	}
	return sum / math.Max(n, 1)
}

// own returns the placed seating of one seating, and those of all others in the
// order of their numbers.
func (c *Corrector) own(ear, number int) (own *placedSeating, others []*placedSeating) {
	for _, n := range slices.Sorted(maps.Keys(c.seatings[ear])) {
		if n != number {
			others = append(others, c.seatings[ear][n])
		}
	}
	return c.seatings[ear][number], others
}

// estimated are placed seatings where they are estimated to be.
func (c *Corrector) estimated(ear int, w []*placedSeating) witnesses {
	out := witnesses{seatings: w, known: c.known[ear][correctionDraws]}
	for _, s := range w {
		out.views = append(out.views, s.here)
	}
	return out
}

// holdAgainst numbers the placed seatings of an ear and works out what the survey says of them
// together: the covariances of their views per draw, then of where they are estimated to be.
func (c *Corrector) holdAgainst(ear int) {
	_, all := c.own(ear, -1)
	views := make([]view, len(all))
	for i := range correctionDraws {
		for k, w := range all {
			w.order, views[k] = k, w.drawn[i]
		}
		c.known[ear] = append(c.known[ear], among(&c.survey.Ears[ear], views))
	}
	for k, w := range all {
		views[k] = w.here
	}
	c.known[ear] = append(c.known[ear], among(&c.survey.Ears[ear], views))
}
