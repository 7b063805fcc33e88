package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
)

// Deliberate displacements on a listener. The fixture's survey says how the
// level moves on the fixture's ear; on a person's ear it moves otherwise, and
// the difference grows with the distance of the worn mean from the mark. Where
// listeners also wore the headphone displaced by stated amounts from their own
// usual place, the fixture and each of them are taken as one draw each of how
// the level of people moves, and positions are told with the mean of all.

// displaced is what one listener's displaced seatings of one model say about
// the slope, per ear: centred sums over the rows, usual seatings included as
// displacement 0.
type displaced struct {
	dd [3][3]float64   // Σ d d'
	dy [2][3][]float64 // Σ d y per band; nil without that ear
}

// addDisplaced gathers the displaced seatings of one model.
func (p *panel) addDisplaced(m int, su *position.Model) {
	type rows struct {
		d [][3]float64
		y [2][][]float64
		n int // displaced
	}
	by := map[string]*rows{}
	var order []string
	for i, s := range su.Seatings {
		if s.OnFixture() || s.Seal != "" {
			continue
		}
		o := position.Observe(s, i, &su.Ears)
		if !o.Present[0] && !o.Present[1] {
			continue
		}
		r := by[s.Subject]
		if r == nil {
			r = &rows{}
			by[s.Subject] = r
			order = append(order, s.Subject)
		}
		var d [3]float64
		if s.Displaced() {
			d = s.Survey.Vector()
			r.n++
		}
		r.d = append(r.d, d)
		for e := range 2 {
			var y []float64
			if o.Present[e] {
				y = p.Bands.WithoutLevel(o.Level[e], o.Variance[e])
			}
			r.y[e] = append(r.y[e], y)
		}
	}
	for _, who := range order {
		r := by[who]
		if r.n < 2 {
			continue
		}
		p.models[m].displaced = append(p.models[m].displaced, p.slopeSums(r.d, r.y))
	}
}

// slopeSums returns the centred sums of one listener.
func (p *panel) slopeSums(d [][3]float64, y [2][][]float64) displaced {
	var out displaced
	var mean [3]float64
	for _, v := range d {
		for a := range 3 {
			mean[a] += v[a] / float64(len(d))
		}
	}
	for _, v := range d {
		for a := range 3 {
			for b := range 3 {
				out.dd[a][b] += (v[a] - mean[a]) * (v[b] - mean[b])
			}
		}
	}
	for e := range 2 {
		whole := true
		for _, v := range y[e] {
			whole = whole && v != nil
		}
		if !whole {
			continue
		}
		for a := range 3 {
			out.dy[e][a] = make([]float64, p.Bands.N)
			for i, v := range y[e] {
				for r := range v {
					out.dy[e][a][r] += (d[i][a] - mean[a]) * v[r]
				}
			}
		}
	}
	return out
}

// poolSlopes replaces the slopes of ear e, which are the fixture's, by the
// mean of the fixture's and of the displaced listeners'. A listener's slope is
// the ridge estimate about the fixture's: noise is the scatter of a seating,
// and ears are taken to differ by as much as slopes are large (common practice,
// no source; on simulated ears the two are alike).
func (pm *panelModel) poolSlopes(p *panel, e int) {
	pm.extra[e] = [3][]float64{}
	if len(pm.displaced) == 0 {
		return
	}
	fixture := pm.slope[e]
	for a := range 3 {
		pm.extra[e][a] = make([]float64, p.Bands.N)
	}
	draws := 1.0
	sum := pm.extra[e]
	for _, l := range pm.displaced {
		if l.dy[e][0] == nil {
			continue
		}
		draws++
		for r := range p.Bands.N {
			// (DD + v/τ²)·Δ = Dy − DD·J for the difference Δ to the fixture.
			tau := 0.02 * 0.02
			for q := max(0, r-2); q <= min(p.Bands.N-1, r+2); q++ {
				for a := range 2 {
					tau += fixture[a][q] * fixture[a][q] / 10
				}
			}
			v := pm.scatter[e].At(r, r) + 0.05*0.05
			info, rhs := stats.Symmetric3(l.dd), mat.NewVecDense(3, nil)
			for a := range 3 {
				v0 := l.dy[e][a][r]
				for b := range 3 {
					v0 -= l.dd[a][b] * fixture[b][r]
				}
				rhs.SetVec(a, v0)
				stats.AddSym(info, a, a, v/tau)
			}
			var chol mat.Cholesky
			var own mat.VecDense
			chol.Factorize(info) // positive definite by the ridge
			if chol.SolveVecTo(&own, rhs) != nil {
				own.CloneFromVec(mat.NewVecDense(3, nil)) // nothing to tell from the fixture's
			}
			for a := range 3 {
				sum[a][r] += fixture[a][r] + own.AtVec(a)
			}
		}
	}
	for a := range 3 {
		mean := make([]float64, p.Bands.N)
		for r := range mean {
			mean[r] = (fixture[a][r] + sum[a][r]) / draws
		}
		pm.slope[e][a] = mean
	}
	pm.draws[e] = draws
}

// levelFor is the level of people's mean at displacement d less that at the
// mark: the fixture's surface and the displaced listeners' slopes, one draw each.
func (pm *panelModel) levelFor(p *panel, e int, d [3]float64) []float64 {
	level := pm.ears[e].Survey.LevelAt(p.Bands, d)
	if pm.extra[e][0] == nil {
		return level
	}
	for r := range level {
		v := level[r]
		for a := range 3 {
			v += pm.extra[e][a][r] * d[a]
		}
		level[r] = v / pm.draws[e]
	}
	return level
}
