package correct

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// ground is the survey of an ear, ready to be asked what it says of many positions, in the bands
// that tell places.
type ground struct {
	*survey.Ear
	tells   []bool       // per kept band
	bands   [][2]int     // per zone: its kept bands between the first and the last that tell
	weights *mat.Dense   // rows of the survey × kept bands
	mark    [][]float64  // of AtMark
	inv     []*mat.Dense // (K+N)⁻¹ per zone, rows of the survey square; the same for zones of one kernel
}

// newGround is that of an ear whose survey is known.
func newGround(e *survey.Ear) *ground {
	g := &ground{Ear: e, tells: e.TellsPlace(), mark: e.AtMark(), weights: mat.NewDense(len(e.At), band.Count, nil)}
	first, last := slices.Index(g.tells, true), len(g.tells)-1
	for last > first && !g.tells[last] {
		last--
	}
	for i, row := range e.Weights {
		g.weights.SetRow(i, row)
	}
	for zi, z := range e.Zones {
		from := max(z.From, first)
		g.bands = append(g.bands, [2]int{from, max(from, min(z.To, last+1))})
		if g.continues(zi) {
			g.inv = append(g.inv, g.inv[zi-1])
			continue
		}
		inv := mat.NewDense(len(e.At), len(e.At), nil)
		for i, row := range z.Inv {
			inv.SetRow(i, row)
		}
		g.inv = append(g.inv, inv)
	}
	return g
}

// continues reports whether a zone has the kernel of the one before.
func (g *ground) continues(zone int) bool {
	return zone > 0 && g.Zones[zone].Kernel == g.Zones[zone-1].Kernel
}

// views are what the survey says of positions.
type views struct {
	at    [][3]float64 // mm, mm, degrees
	level *mat.Dense   // positions × kept bands, dB relative to the survey's BaseDB; 0 where no place is told
	// Per zone, positions × rows of the survey: the kernel between a position and the survey's rows,
	// and the same times (K+N)⁻¹. Zones of one kernel have the same.
	k, kInv []*mat.Dense
	change  *mat.Dense // work space: the kernel less that of the marked position
}

// see returns the views of positions, in the memory of others of as many if there are any.
func (g *ground) see(at [][3]float64, space *views) *views {
	v := space
	if v == nil {
		matrix := func() *mat.Dense { return mat.NewDense(len(at), len(g.At), nil) }
		v = &views{level: mat.NewDense(len(at), band.Count, nil), change: matrix()}
		for zi := range g.Zones {
			if g.continues(zi) {
				v.k, v.kInv = append(v.k, v.k[zi-1]), append(v.kInv, v.kInv[zi-1])
			} else {
				v.k, v.kInv = append(v.k, matrix()), append(v.kInv, matrix())
			}
		}
	}
	v.at = at
	for zi, z := range g.Zones {
		if !g.continues(zi) {
			for p := range at {
				row, change := v.k[zi].RawRowView(p), v.change.RawRowView(p)
				for i := range g.At {
					row[i] = z.Kernel.At(&at[p], &g.At[i])
					change[i] = row[i] - g.mark[zi][i]
				}
			}
			stats.Multiply(v.kInv[zi], v.k[zi], g.inv[zi])
		}
		if from, to := g.bands[zi][0], g.bands[zi][1]; from < to {
			stats.Multiply(v.level.Slice(0, len(at), from, to).(*mat.Dense), v.change, g.weights.Slice(0, len(g.At), from, to).(*mat.Dense))
		}
	}
	for b, ok := range g.Valid {
		for p := 0; p < len(at) && !ok; p++ {
			v.level.Set(p, b, 0)
		}
	}
	return v
}

// view is one of views.
type view struct {
	*views
	i int
}

// covariance is the survey's of the level at two views in a zone, in units of the variance
// of the scatter.
func (g *ground) covariance(zone int, v, w view) float64 {
	return g.Zones[zone].Kernel.At(&v.at[v.i], &w.at[w.i]) - floats.Dot(v.k[zone].RawRowView(v.i), w.kInv[zone].RawRowView(w.i))
}

// witnesses are placed seatings as one draw has them, on which the survey is conditioned.
type witnesses struct {
	*ground
	seatings []*placedSeating
	draw     int // of where they are; correctionDraws: as estimated
	// inverse is, per zone, the inverse of the covariance of what they measured, zero in those that do
	// not count there. Zones that agree in all that it is made of have the same.
	inverse []*mat.Dense
}

// newWitnesses works out what the survey says of placed seatings together.
func newWitnesses(g *ground, seatings []*placedSeating, draw int) *witnesses {
	w := &witnesses{ground: g, seatings: seatings, draw: draw}
	for zi := range g.Zones {
		same := g.continues(zi)
		for _, s := range seatings {
			same = same && s.counts[zi] == s.counts[zi-1]
		}
		if same {
			w.inverse = append(w.inverse, w.inverse[zi-1])
			continue
		}
		n := len(seatings)
		cov := mat.NewDense(max(n, 1), max(n, 1), nil)
		for a, s := range seatings {
			for b, t := range seatings[:a+1] {
				if s.counts[zi] && t.counts[zi] {
					v := g.covariance(zi, view{s.drawn, draw}, view{t.drawn, draw})
					cov.Set(a, b, v)
					cov.Set(b, a, v)
				}
			}
			cov.Set(a, a, cov.At(a, a)+s.noise)
		}
		_, ok := stats.Invert(cov)
		for a, s := range seatings {
			for b := 0; b < n && !(ok && s.counts[zi]); b++ {
				cov.Set(a, b, 0)
				cov.Set(b, a, 0)
			}
		}
		w.inverse = append(w.inverse, cov)
	}
	return w
}

// conditioned is the level at two positions as survey and placed seatings tell it.
type conditioned struct {
	level [2][]float64 // dB per kept band relative to the survey's BaseDB
	// root is the Cholesky factor of the covariance of both, zones × 3, in units
	// of the scatter's standard deviation: (0,0), (1,0), (1,1).
	root [][3]float64
	// Work space: the weights of the placed seatings, their covariances with the targets, and what one
	// of them differs from the survey by, per kept band.
	of, cross [2][]float64
	off       []float64
}

// condition conditions the survey on placed seatings, the Gaussian
// process being updated by them (Rasmussen & Williams 2006, eq. 2.22 to 2.24), and
// sets out to the level at two targets. One placed seating is left out, nil for none; own says
// that it is heard after all, as what was measured at the second target.
func (out *conditioned) condition(w *witnesses, targets [2]view, left *placedSeating, own bool) {
	if out.root == nil {
		out.root, out.off = make([][3]float64, len(w.Zones)), make([]float64, band.Count)
	}
	for t, v := range targets {
		out.level[t] = append(out.level[t][:0], v.level.RawRowView(v.i)...)
		out.of[t] = slices.Grow(out.of[t][:0], len(w.seatings))[:len(w.seatings)]
		out.cross[t] = slices.Grow(out.cross[t][:0], len(w.seatings))[:len(w.seatings)]
	}
	for zi := range w.Zones {
		from, to := w.bands[zi][0], w.bands[zi][1]
		if zi == 0 || w.inverse[zi] != w.inverse[zi-1] {
			out.root[zi] = w.gains(zi, targets, left, own, out.of, out.cross)
		} else {
			out.root[zi] = out.root[zi-1]
		}
		for o, s := range w.seatings {
			if !s.counts[zi] || s == left && !own {
				continue
			}
			off := s.off.RawRowView(w.draw)[from:to]
			if s == left {
				off = out.off[from:to]
				floats.SubTo(off, s.level[from:to], targets[1].level.RawRowView(targets[1].i)[from:to])
			}
			for t := range targets {
				floats.AddScaled(out.level[t][from:to], out.of[t][o], off)
			}
		}
	}
	for b, ok := range w.Valid {
		if !ok {
			out.level[0][b], out.level[1][b] = 0, 0
		}
	}
}

// gains sets of, per target and placed seating, to the weight of the difference of its level from the
// survey's, and returns the root of the targets' covariance. cross is work space.
func (w *witnesses) gains(zone int, targets [2]view, left *placedSeating, own bool, of, cross [2][]float64) [3]float64 {
	post := [3]float64{w.covariance(zone, targets[0], targets[0]), w.covariance(zone, targets[0], targets[1]), w.covariance(zone, targets[1], targets[1])}
	at := -1
	for t, v := range targets {
		at = w.weigh(of[t], cross[t], zone, v, left)
	}
	post[0] -= floats.Dot(of[0], cross[0])
	post[1] -= floats.Dot(of[1], cross[0])
	post[2] -= floats.Dot(of[1], cross[1])
	if own && left.counts[zone] {
		first, second := post[1]/(post[2]+left.noise), post[2]/(post[2]+left.noise)
		floats.AddScaled(of[0], -first, of[1])
		floats.Scale(1-second, of[1])
		of[0][at], of[1][at] = first, second
		post[0] -= first * post[1]
		post[1] -= second * post[1]
		post[2] -= second * post[2]
	}
	var root [3]float64
	root[0] = math.Sqrt(math.Max(post[0], 1e-12))
	root[1] = post[1] / root[0]
	root[2] = math.Sqrt(math.Max(post[2]-root[1]*root[1], 0))
	return root
}

// weigh sets of, per placed seating, to the weight of the difference of its level from the survey's for
// a view, and cross to the covariance with it; it returns where the one is that is left out, which has none.
func (w *witnesses) weigh(of, cross []float64, zone int, v view, left *placedSeating) (at int) {
	at = -1
	for o, s := range w.seatings {
		cross[o] = 0
		if s == left {
			at = o
		} else if s.counts[zone] {
			cross[o] = w.covariance(zone, v, view{s.drawn, w.draw})
		}
	}
	inverse := w.inverse[zone]
	for o := range of {
		of[o] = floats.Dot(inverse.RawRowView(o), cross)
	}
	// The inverse without the one that is left out (Schur's complement).
	if at >= 0 && inverse.At(at, at) > 0 {
		floats.AddScaled(of, -of[at]/inverse.At(at, at), inverse.RawRowView(at))
		of[at] = 0
	}
	return at
}

// levels are the levels at views, conditioned on the placed seatings but for one (nil: on all):
// views × kept bands, dB relative to the survey's BaseDB.
func (w *witnesses) levels(v *views, left *placedSeating) *mat.Dense {
	out, n := mat.DenseCopyOf(v.level), len(w.seatings)
	if n == 0 {
		return out
	}
	of, off, cross := mat.NewDense(len(v.at), n, nil), mat.NewDense(n, band.Count, nil), make([]float64, n)
	for zi := range w.Zones {
		from, to := w.bands[zi][0], w.bands[zi][1]
		for p := 0; p < len(v.at) && (zi == 0 || w.inverse[zi] != w.inverse[zi-1]); p++ {
			w.weigh(of.RawRowView(p), cross, zi, view{v, p}, left)
		}
		for o, s := range w.seatings {
			copy(off.RawRowView(o)[from:to], s.off.RawRowView(w.draw)[from:to])
		}
		if from < to {
			part := out.Slice(0, len(v.at), from, to).(*mat.Dense)
			part.Add(part, stats.Product(of, off.Slice(0, n, from, to).(*mat.Dense)))
		}
	}
	for b, ok := range w.Valid {
		for p := 0; p < len(v.at) && !ok; p++ {
			out.Set(p, b, 0)
		}
	}
	return out
}
