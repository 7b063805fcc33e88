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
	draws  [][3]float64 // where it may be, correctionDraws of them
	level  []float64    // dB per kept band, as if sealed, relative to the survey's BaseDB
	counts []bool       // per zone of the survey: all its bands count
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
		w := &placedRow{at: o.Ears[ear], level: make([]float64, band.Count), noise: 1}
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
			w.draws = append(w.draws, stats.NormalDraw(rng, w.at.Value, root))
		}
		w.noise = max(1, misfit(e, w, mark, tells))
		out[s.Number] = w
	}
	return out
}

// misfit returns the mean square, over the bands that tell positions, of what
// the survey leaves of a seating's level at its place, over what scatter,
// survey and the uncertainty of the place explain.
func misfit(e *survey.Ear, w *placedRow, mark [][]float64, tells []bool) float64 {
	at, level := make([]float64, band.Count), make([]float64, band.Count)
	variance := make([]float64, band.Count)
	e.Change(at, w.at.Value, mark)
	for _, d := range w.draws {
		e.Change(level, d, mark)
		for b, v := range level {
			variance[b] += (v - at[b]) * (v - at[b]) / float64(len(w.draws))
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

// learned is the level at two places as survey and placed rows tell it.
type learned struct {
	level [2][]float64 // dB per kept band relative to the survey's BaseDB
	// root is the Cholesky factor of the covariance of both per zone, in units
	// of the scatter's standard deviation: see gains.
	root [][3]float64
}

// learn conditions the survey on placed rows that lie at places (nil: where they
// are estimated to be), the Gaussian process being updated by them (Rasmussen &
// Williams 2006, eq. 2.22 to 2.24), and returns the level at two targets. mark
// is what atMark returns.
func learn(e *survey.Ear, targets [2][3]float64, w []*placedRow, places [][3]float64, mark [][]float64) learned {
	points := append(targets[:len(targets):len(targets)], places...)
	if places == nil {
		for _, s := range w {
			points = append(points, s.at.Value)
		}
	}
	level := make([][]float64, len(points))
	for p := range points {
		level[p] = make([]float64, band.Count)
	}
	out := learned{level: [2][]float64{level[0], level[1]}, root: make([][3]float64, len(e.Zones))}
	var k, kInv [][]float64 // kernel between points and rows; the same times (K+N)⁻¹
	var g gains
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel { // zones often agree
			k, kInv = toRows(z, points, e.At)
			g = gains{}
		}
		for p := range points {
			for i, v := range k[p] {
				floats.AddScaled(level[p][z.From:z.To], v-mark[zi][i], e.Weights[i][z.From:z.To])
			}
		}
		var used []int // placed rows that count here
		for o := range w {
			if w[o].counts[zi] {
				used = append(used, o)
			}
		}
		if g.used == nil || !slices.Equal(g.used, used) {
			cov := func(p, q int) float64 {
				return z.Kernel.At(points[p], points[q]) - floats.Dot(k[p], kInv[q])
			}
			g = newGains(used, w, cov)
		}
		out.root[zi] = g.root
		for a, o := range g.used {
			off := make([]float64, z.To-z.From)
			floats.SubTo(off, w[o].level[z.From:z.To], level[2+o][z.From:z.To])
			for t := range targets {
				floats.AddScaled(level[t][z.From:z.To], g.of[t][a], off)
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

// toRows returns the kernel between points and a survey's rows, and the same
// times (K+N)⁻¹.
func toRows(z survey.Zone, points, rows [][3]float64) (k, kInv [][]float64) {
	for p, at := range points {
		k, kInv = append(k, make([]float64, len(rows))), append(kInv, make([]float64, len(rows)))
		for i, row := range rows {
			k[p][i] = z.Kernel.At(at, row)
		}
		for i, row := range z.Inv {
			kInv[p][i] = floats.Dot(row, k[p])
		}
	}
	return k, kInv
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
