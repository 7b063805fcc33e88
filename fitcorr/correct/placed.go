package correct

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// placedSeating is an ordinary fixture seating as one more observation of how the
// fixture's response moves. The survey shows that at displacements of its own;
// the seatings show it where they were, near the worn mean for most, at places
// that are estimated instead of set.
type placedSeating struct {
	number int
	at     seat.Estimate
	drawn  *views     // where it may be, correctionDraws of them, then where it is estimated to be; its level is in off
	level  []float64  // dB per kept band, as if sealed, relative to the survey's BaseDB
	off    *mat.Dense // level less what the survey says, places of drawn × kept bands
	counts []bool     // per zone of the survey: all its bands count
	// noise is the variance of what is no movement, in units of the survey's
	// scatter: 1, or more for a seating that the survey does not explain.
	noise float64
}

// placedSeatings returns the seatings among ss at the survey's point that have an
// offset, in the order of their numbers, for one ear.
func (c *Corrector) placedSeatings(ss []seat.Seating, ear int) []*placedSeating {
	g := c.ground[ear]
	all := band.All()
	out := map[int]*placedSeating{}
	for _, s := range ss {
		o, ok := c.offsetOf(s)
		if !ok || !s.OrdinaryOnFixture() || s.Point != c.point {
			continue
		}
		w := &placedSeating{number: s.Number, at: o.Ears[ear], level: make([]float64, band.Count), noise: 1}
		for b, f := range all {
			w.level[b] = s.Ears[ear].LevelDB[b] - g.BaseDB[b]
			if f.Mid < leakTopHz {
				loss, _ := o.Leak[ear].LossAt(f.Mid)
				w.level[b] += loss
			}
		}
		for _, z := range g.Zones {
			counts := true
			for b := z.From; b < z.To; b++ {
				counts = counts && (!g.tells[b] || s.Ears[ear].Counts(b))
			}
			w.counts = append(w.counts, counts)
		}
		rng := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+3)+s.Number)))
		root := stats.Root3(w.at.Cov)
		places := make([][3]float64, correctionDraws+1)
		for i := range correctionDraws {
			places[i] = stats.NormalDraw(rng, w.at.Value, root)
		}
		places[correctionDraws] = w.at.Value
		w.place(g, places)
		w.noise = max(1, w.misfit(g))
		out[s.Number] = w
	}
	var sorted []*placedSeating
	for _, n := range slices.Sorted(maps.Keys(out)) {
		sorted = append(sorted, out[n])
	}
	return sorted
}

// place sets where a seating may be.
func (w *placedSeating) place(g *ground, places [][3]float64) {
	w.drawn = g.see(places, nil)
	w.off, w.drawn.level = w.drawn.level, nil
	for i := range places {
		off := w.off.RawRowView(i)
		floats.SubTo(off, w.level, off)
	}
}

// misfit returns the mean square, over the bands that tell positions, of what
// the survey leaves of a seating's level at its place, over what scatter,
// survey and the uncertainty of the place explain.
func (w *placedSeating) misfit(g *ground) float64 {
	off, variance := w.off.RawRowView(correctionDraws), make([]float64, band.Count)
	for i := range correctionDraws {
		for b, v := range w.off.RawRowView(i) {
			variance[b] += (v - off[b]) * (v - off[b]) / correctionDraws
		}
	}
	sum, n := 0.0, 0.0
	here := view{w.drawn, correctionDraws}
	for zi, z := range g.Zones {
		if !w.counts[zi] {
			continue
		}
		surface := math.Max(0, g.covariance(zi, here, here))
		for b := z.From; b < z.To; b++ {
			if g.tells[b] {
				sum += off[b] * off[b] / (variance[b] + (1+surface)*g.Scatter[b]*g.Scatter[b])
				n++
			}
		}
	}
	return sum / math.Max(n, 1)
}

// placed returns the placed seating of one number, nil without one.
func (c *Corrector) placed(ear, number int) *placedSeating {
	for _, w := range c.seatings[ear] {
		if w.number == number {
			return w
		}
	}
	return nil
}

// holdAgainst works out what the survey says of an ear's placed seatings together, per draw of
// where they are, then as they are estimated to be.
func (c *Corrector) holdAgainst(ear int) {
	for i := range correctionDraws + 1 {
		c.together[ear] = append(c.together[ear], newWitnesses(c.ground[ear], c.seatings[ear], i))
	}
}
