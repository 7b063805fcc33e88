package correct

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// view is what the survey says of one position.
type view struct {
	at    [3]float64 // mm, mm, degrees
	level []float64  // dB per kept band relative to the survey's BaseDB
	// k is the kernel between the position and the survey's rows, kInv the same times
	// (K+N)⁻¹, both zones × rows.
	k, kInv [][]float64
	values  []float64 // of k and kInv
}

// newView returns the view of a position, mm, mm, degrees; mark is what AtMark returns.
func newView(e *survey.Ear, at [3]float64, mark [][]float64) view {
	v := view{level: make([]float64, band.Count), k: make([][]float64, len(e.Zones)), kInv: make([][]float64, len(e.Zones)),
		values: make([]float64, 2*len(e.At)*len(e.Zones))}
	v.moveTo(e, at, mark)
	return v
}

// moveTo makes v the view of another position of the same survey.
func (v *view) moveTo(e *survey.Ear, at [3]float64, mark [][]float64) {
	v.at = at
	clear(v.level)
	values := v.values
	var k, kInv []float64
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel { // zones often agree
			k, kInv, values = values[:len(e.At)], values[len(e.At):2*len(e.At)], values[2*len(e.At):]
			for i := range e.At {
				k[i] = z.Kernel.At(&at, &e.At[i])
			}
			for i, row := range z.Inv {
				kInv[i] = floats.Dot(row, k)
			}
		}
		v.k[zi], v.kInv[zi] = k, kInv
		for i, x := range k {
			floats.AddScaled(v.level[z.From:z.To], x-mark[zi][i], e.Weights[i][z.From:z.To])
		}
	}
	for b, ok := range e.Valid {
		if !ok {
			v.level[b] = 0
		}
	}
}

// conditioned is the level at two positions as survey and placed seatings tell it.
type conditioned struct {
	level [2][]float64 // dB per kept band relative to the survey's BaseDB
	// root is the Cholesky factor of the covariance of both, zones × 3, in units
	// of the scatter's standard deviation: see gains.
	root [][3]float64
	off  []float64 // work space, per kept band
}

// covariance is the survey's of the level at two views in a zone, in units of the variance
// of the scatter.
func covariance(e *survey.Ear, zone int, v, w *view) float64 {
	return e.Zones[zone].Kernel.At(&v.at, &w.at) - floats.Dot(v.k[zone], w.kInv[zone])
}

// witnesses are placed seatings with the views of where they are taken to sit.
type witnesses struct {
	seatings []*placedSeating
	views    []view
	known    [][]float64 // covariances of all placed seatings' views, zones × pairs of their order
	own      bool        // the last one sits at the second target
}

// among are the covariances of views with each other, zones × pairs.
func among(e *survey.Ear, views []view) [][]float64 {
	out := make([][]float64, len(e.Zones))
	for zi, z := range e.Zones {
		if zi > 0 && z.Kernel == e.Zones[zi-1].Kernel {
			out[zi] = out[zi-1]
			continue
		}
		for a := range views {
			for b := range a + 1 {
				out[zi] = append(out[zi], covariance(e, zi, &views[a], &views[b]))
			}
		}
	}
	return out
}

// between is the covariance of witnesses o and q in a zone; toTarget is that of q and the
// second target.
func (w *witnesses) between(zone, o, q int, toTarget float64) float64 {
	if w.own && o == len(w.seatings)-1 {
		return toTarget
	}
	a, b := w.seatings[o].order, w.seatings[q].order
	a, b = max(a, b), min(a, b)
	return w.known[zone][a*(a+1)/2+b]
}

// condition conditions the survey on placed seatings, the Gaussian
// process being updated by them (Rasmussen & Williams 2006, eq. 2.22 to 2.24), and
// sets out to the level at two targets.
func (out *conditioned) condition(e *survey.Ear, targets *[2]view, w witnesses) {
	if out.root == nil {
		out.root, out.off = make([][3]float64, len(e.Zones)), make([]float64, band.Count)
	}
	for t := range targets {
		out.level[t] = append(out.level[t][:0], targets[t].level...)
	}
	var g gains
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel {
			g = gains{}
		}
		var used []int // placed seatings that count here
		for o, s := range w.seatings {
			if s.counts[zi] {
				used = append(used, o)
			}
		}
		if g.used == nil || !slices.Equal(g.used, used) {
			g = w.gains(e, zi, used, targets)
		}
		out.root[zi] = g.root
		for a, o := range g.used {
			off := out.off[:z.To-z.From]
			floats.SubTo(off, w.seatings[o].level[z.From:z.To], w.views[o].level[z.From:z.To])
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
}

// gains are what the placed seatings are worth to two targets.
type gains struct {
	used []int        // numbers of the placed seatings that have a say
	of   [2][]float64 // per target and placed seating used: weight of its level's difference from the survey's
	root [3]float64   // Cholesky factor of the targets' covariance: (0,0), (1,0), (1,1)
}

// gains works out what the witnesses used are worth in a zone.
func (w *witnesses) gains(e *survey.Ear, zone int, used []int, targets *[2]view) gains {
	g := gains{used: used}
	first, second := &targets[0], &targets[1]
	post := [3]float64{covariance(e, zone, first, first), covariance(e, zone, first, second), covariance(e, zone, second, second)}
	if n := len(used); n > 0 {
		own, gain := mat.NewSymDense(n, nil), mat.NewDense(n, len(g.of), nil)
		var cross [len(g.of)][]float64
		for t := range g.of {
			cross[t], g.of[t] = make([]float64, n), make([]float64, n)
			for a, o := range used {
				if w.own && o == len(w.seatings)-1 {
					cross[t][a] = post[1+t]
				} else {
					cross[t][a] = covariance(e, zone, &targets[t], &w.views[o])
				}
				gain.Set(a, t, cross[t][a])
			}
		}
		for a, o := range used {
			for b, q := range used[:a+1] {
				own.SetSym(a, b, w.between(zone, o, q, cross[1][b]))
			}
			own.SetSym(a, a, own.At(a, a)+w.seatings[o].noise)
		}
		if factor, ok := stats.Factorize(own); ok {
			factor.Solve(gain)
			for t := range g.of {
				mat.Col(g.of[t], t, gain)
			}
			post[0] -= floats.Dot(g.of[0], cross[0])
			post[1] -= floats.Dot(g.of[1], cross[0])
			post[2] -= floats.Dot(g.of[1], cross[1])
		} else {
			g.used = []int{}
		}
	}
	g.root[0] = math.Sqrt(math.Max(post[0], 1e-12))
	g.root[1] = post[1] / g.root[0]
	g.root[2] = math.Sqrt(math.Max(post[2]-g.root[1]*g.root[1], 0))
	return g
}

// placedSeating is an ordinary fixture seating as one more observation of how the
// fixture's response moves. The survey shows that at displacements of its own;
// the seatings show it where they were, near the worn mean for most, at places
// that are estimated instead of set.
type placedSeating struct {
	order  int // among all placed seatings
	at     seat.Estimate
	here   view      // of the survey from there
	drawn  []view    // where it may be, correctionDraws of them
	level  []float64 // dB per kept band, as if sealed, relative to the survey's BaseDB
	counts []bool    // per zone of the survey: all its bands count
	// noise is the variance of what is no movement, in units of the survey's
	// scatter: 1, or more for a seating that the survey does not explain.
	noise float64
}
