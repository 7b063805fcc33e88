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
	"asworn/fitcorr/survey"
)

// placedRow is an ordinary fixture seating as one more observation of how the
// fixture's response moves. The survey shows that at displacements of its own;
// the seatings show it where they were, near the worn mean for most, at places
// that are estimated instead of set.
type placedRow struct {
	at     seat.Estimate
	here   view      // of the survey from there
	drawn  []view    // where it may be, correctionDraws of them
	level  []float64 // dB per kept band, as if sealed, relative to the survey's BaseDB
	counts []bool    // per zone of the survey: all its bands count
	// noise is the variance of what is no movement, in units of the survey's
	// scatter: 1, or more for a seating that the survey does not explain.
	noise float64
}

// placedRows returns the seatings among ss at the survey's point that have an
// offset, by number, for one ear.
func (c *Corrector) placedRows(ss []seat.Seating, ear int) map[int]*placedRow {
	e := &c.survey.Ears[ear]
	mark, tells := e.AtMark(), e.TellsPlace()
	all := band.All()
	out := map[int]*placedRow{}
	for _, s := range ss {
		o, ok := c.offsetOf(s)
		if !ok || !s.OrdinaryOnFixture() || s.Point != c.point {
			continue
		}
		w := &placedRow{at: o.Ears[ear], here: look(e, o.Ears[ear].Value, mark), level: make([]float64, band.Count), noise: 1}
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
			w.drawn = append(w.drawn, look(e, stats.NormalDraw(rng, w.at.Value, root), mark))
		}
		w.noise = max(1, misfit(e, w, tells))
		out[s.Number] = w
	}
	return out
}

// misfit returns the mean square, over the bands that tell positions, of what
// the survey leaves of a seating's level at its place, over what scatter,
// survey and the uncertainty of the place explain.
func misfit(e *survey.Ear, w *placedRow, tells []bool) float64 {
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
		for i, row := range e.At {
			k[i] = z.Kernel.At(w.at.Value, row)
		}
		surface := math.Max(0, z.Kernel.At(w.at.Value, w.at.Value)-stats.QuadForm(z.Inv, k))
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

// view is what the survey says of one place.
type view struct {
	at    [3]float64
	level []float64 // dB per kept band relative to the survey's BaseDB
	// k is the kernel between the place and the survey's rows, kInv the same times
	// (K+N)⁻¹, both per zone.
	k, kInv [][]float64
}

// look returns the view of a place; mark is what AtMark returns.
func look(e *survey.Ear, at [3]float64, mark [][]float64) view {
	v := view{at: at, level: make([]float64, band.Count)}
	var k, kInv []float64
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel { // zones often agree
			k, kInv = make([]float64, len(e.At)), make([]float64, len(e.At))
			for i, row := range e.At {
				k[i] = z.Kernel.At(at, row)
			}
			for i, row := range z.Inv {
				kInv[i] = floats.Dot(row, k)
			}
		}
		v.k, v.kInv = append(v.k, k), append(v.kInv, kInv)
		for i, x := range k {
			floats.AddScaled(v.level[z.From:z.To], x-mark[zi][i], e.Weights[i][z.From:z.To])
		}
	}
	for b, ok := range e.Valid {
		if !ok {
			v.level[b] = 0
		}
	}
	return v
}

// heres are the views of placed rows from where they are estimated to be.
func heres(w []*placedRow) (out []view) {
	for _, s := range w {
		out = append(out, s.here)
	}
	return out
}

// learned is the level at two places as survey and placed rows tell it.
type learned struct {
	level [2][]float64 // dB per kept band relative to the survey's BaseDB
	// root is the Cholesky factor of the covariance of both per zone, in units
	// of the scatter's standard deviation: see gains.
	root [][3]float64
}

// learn conditions the survey on placed rows with their views, the Gaussian
// process being updated by them (Rasmussen & Williams 2006, eq. 2.22 to 2.24), and
// returns the level at two targets.
func learn(e *survey.Ear, targets [2]view, w []*placedRow, rows []view) learned {
	points := append(targets[:len(targets):len(targets)], rows...)
	out := learned{root: make([][3]float64, len(e.Zones))}
	for t := range targets {
		out.level[t] = slices.Clone(targets[t].level)
	}
	off := make([]float64, band.Count)
	var g gains
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel {
			g = gains{}
		}
		var used []int // placed rows that count here
		for o := range w {
			if w[o].counts[zi] {
				used = append(used, o)
			}
		}
		if g.used == nil || !slices.Equal(g.used, used) {
			cov := func(p, q int) float64 {
				return z.Kernel.At(points[p].at, points[q].at) - floats.Dot(points[p].k[zi], points[q].kInv[zi])
			}
			g = newGains(used, w, cov)
		}
		out.root[zi] = g.root
		for a, o := range g.used {
			off := off[:z.To-z.From]
			floats.SubTo(off, w[o].level[z.From:z.To], rows[o].level[z.From:z.To])
			for t := range targets {
				floats.AddScaled(out.level[t][z.From:z.To], g.of[t][a], off)
			}
		}
	}
	for b, ok := range e.Valid {
		if !ok {
			out.level[0][b], out.level[1][b] = 0, 0
		}
	}
	return out
}

// gains are what the placed rows are worth to two targets.
type gains struct {
	used []int        // numbers of the placed rows that have a say
	of   [2][]float64 // per target and placed row used: weight of its level's difference from the survey's
	root [3]float64   // Cholesky factor of the targets' covariance: (0,0), (1,0), (1,1)
}

// newGains works out the gains from the survey's covariance of the points:
// the targets are points 0 and 1, placed row o is point 2+o.
func newGains(used []int, w []*placedRow, cov func(p, q int) float64) gains {
	g := gains{used: used}
	post := [3]float64{cov(0, 0), cov(1, 0), cov(1, 1)}
	if n := len(used); n > 0 {
		own, cross := mat.NewSymDense(n, nil), mat.NewDense(n, len(g.of), nil)
		for a, o := range used {
			for b, q := range used[:a+1] {
				own.SetSym(a, b, cov(2+o, 2+q))
			}
			own.SetSym(a, a, own.At(a, a)+w[o].noise)
			for t := range g.of {
				cross.Set(a, t, cov(t, 2+o))
			}
		}
		var chol mat.Cholesky
		var gain mat.Dense
		if chol.Factorize(own) && chol.SolveTo(&gain, cross) == nil {
			for t := range g.of {
				g.of[t] = mat.Col(nil, t, &gain)
			}
			post[0] -= floats.Dot(g.of[0], mat.Col(nil, 0, cross))
			post[1] -= floats.Dot(g.of[1], mat.Col(nil, 0, cross))
			post[2] -= floats.Dot(g.of[1], mat.Col(nil, 1, cross))
		} else {
			g.used = []int{}
		}
	}
	g.root[0] = math.Sqrt(math.Max(post[0], 1e-12))
	g.root[1] = post[1] / g.root[0]
	g.root[2] = math.Sqrt(math.Max(post[2]-g.root[1]*g.root[1], 0))
	return g
}

// own returns the placed row of one seating, and those of all others in the
// order of their numbers.
func (c *Corrector) own(ear, number int) (own *placedRow, others []*placedRow) {
	for _, n := range slices.Sorted(maps.Keys(c.seatings[ear])) {
		if n != number {
			others = append(others, c.seatings[ear][n])
		}
	}
	return c.seatings[ear][number], others
}
