package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// placed is the estimated position of one seating.
type placed struct {
	pos    [HeadsetDim]float64
	cov    *mat.SymDense
	misfit [2]float64 // χ² of the residual
	dof    [2]float64
	resid  [2][]float64 // level minus surface, position bands
	slope  [2]*mat.Dense
	excess [2][]float64
}

// place is newPlacer(models).place, for a single seating.
func place(o Observation, models *[2]Ear, prior Prior) (placed, bool) {
	return NewPlacer(models).place(o, prior)
}

// placer estimates the positions of many seatings against the same survey.
type placer struct {
	models  *[2]Ear
	surface [2]*survey.BandSurface
	grid    [2]startGrid
}

// startGrid is a coarse forward–up grid over the survey's reach.
type startGrid struct {
	at    [][3]float64
	level *mat.Dense // position bands × at
}

// NewPlacer prepares the surveys of models. The covariances are read anew for
// every seating.
func NewPlacer(models *[2]Ear) *placer {
	pl := &placer{models: models}
	for e := range models {
		m := &models[e]
		if m.Survey == nil {
			continue
		}
		pl.surface[e] = m.Survey.On(m.Bands)
		reach := m.Survey.Reach()
		g := &pl.grid[e]
		const steps = 3
		g.level = mat.NewDense(m.Bands.N, (2*steps+1)*(2*steps+1), nil)
		for i := -steps; i <= steps; i++ {
			for k := -steps; k <= steps; k++ {
				d := [3]float64{reach[0] * float64(i) / steps, reach[1] * float64(k) / steps, 0}
				g.level.SetCol(len(g.at), pl.surface[e].Level(d))
				g.at = append(g.at, d)
			}
		}
	}
	return pl
}

// place estimates a fixture seating's position by maximum a posteriori with
// Gauss–Newton steps from the best point of a coarse grid.
func (pl *placer) place(o Observation, prior Prior) (placed, bool) {
	var p placed
	if !o.Present[0] && !o.Present[1] {
		return p, false
	}
	p.pos = pl.start(o, prior)
	priorPrec := mat.NewDense(HeadsetDim, HeadsetDim, nil)
	if priorPrec.Inverse(prior.Cov) != nil {
		return p, false
	}
	var priorRHS mat.VecDense
	priorRHS.MulVec(priorPrec, mat.NewVecDense(HeadsetDim, prior.mean[:]))
	for iter := range 12 {
		info, rhs := mat.DenseCopyOf(priorPrec), mat.VecDenseCopyOf(&priorRHS)
		for e := range pl.models {
			if o.Present[e] && !pl.addEar(&p, o, e, info, rhs) {
				return p, false
			}
		}
		var cov mat.Dense
		if cov.Inverse(info) != nil {
			return p, false
		}
		var next mat.VecDense
		next.MulVec(&cov, rhs)
		p.cov = stats.Symmetric(&cov)
		var step float64
		for i := range p.pos {
			d := next.AtVec(i) - p.pos[i]
			// Steps beyond a few millimetres leave the surface's linear range.
			limit := 4.0
			if iter > 6 {
				limit = 1
			}
			d = math.Max(-limit, math.Min(limit, d))
			p.pos[i] += d
			step = math.Max(step, math.Abs(d))
		}
		if step < 1e-4 {
			break
		}
	}
	return p, true
}

// addEar linearises ear e about p.pos and adds it to the normal equations of
// the headset's position.
func (pl *placer) addEar(p *placed, o Observation, e int, info *mat.Dense, rhs *mat.VecDense) bool {
	m := &pl.models[e]
	n := m.Bands.N
	d := [3]float64(p.pos[3*e : 3*e+3])
	level, slope, excess := pl.surface[e].At(d)
	p.resid[e], p.slope[e], p.excess[e] = make([]float64, n), mat.NewDense(n, 3, nil), excess
	j, z, r := p.slope[e], mat.NewVecDense(n, nil), mat.NewVecDense(n, p.resid[e])
	weighted := mat.NewDense(n, 4, nil) // V⁻¹ times the columns J and r
	for b := range n {
		p.resid[e][b] = o.Level[e][b] - level[b]
		v := p.resid[e][b]
		for a := range 3 {
			j.Set(b, a, slope[a][b])
			weighted.Set(b, a, slope[a][b])
			v += slope[a][b] * d[a]
		}
		z.SetVec(b, v)
		weighted.Set(b, 3, p.resid[e][b])
	}
	cov, ok := stats.Factorize(m.Covariance(1, excess, o.Variance[e]))
	if !ok {
		return false
	}
	cov.Solve(weighted)
	wj := weighted.Slice(0, n, 0, 3)
	var jwj mat.Dense
	var jwz mat.VecDense
	jwj.Mul(j.T(), wj)
	jwz.MulVec(wj.T(), z)
	for a := range 3 {
		rhs.SetVec(3*e+a, rhs.AtVec(3*e+a)+jwz.AtVec(a))
		for b := range 3 {
			info.Set(3*e+a, 3*e+b, info.At(3*e+a, 3*e+b)+jwj.At(a, b))
		}
	}
	p.misfit[e] = mat.Dot(r, mat.VecDenseCopyOf(weighted.ColView(3)))
	p.dof[e] = -5
	for _, v := range o.Variance[e] {
		if v < survey.MissingVar {
			p.dof[e]++
		}
	}
	return true
}

// start returns the point of the grid that explains each ear best.
func (pl *placer) start(o Observation, prior Prior) [HeadsetDim]float64 {
	start := prior.mean
	for e := range pl.models {
		if !o.Present[e] {
			continue
		}
		m, grid := &pl.models[e], &pl.grid[e]
		cov, ok := stats.Factorize(m.Covariance(1, make([]float64, m.Bands.N), o.Variance[e]))
		if !ok {
			continue
		}
		resid := mat.NewDense(m.Bands.N, len(grid.at), nil)
		resid.Apply(func(b, _ int, level float64) float64 { return o.Level[e][b] - level }, grid.level)
		cov.Whiten(resid)
		cost := make([]float64, len(grid.at))
		for b := range m.Bands.N {
			for g, v := range resid.RawRowView(b) {
				cost[g] += v * v
			}
		}
		best := math.Inf(1)
		for g, d := range grid.at {
			for a := range 2 {
				t := d[a] - prior.mean[3*e+a]
				cost[g] += t * t / prior.Cov.At(3*e+a, 3*e+a)
			}
			if cost[g] < best {
				best = cost[g]
				copy(start[3*e:3*e+3], d[:])
			}
		}
	}
	// One ear alone speaks for the other.
	for e := range pl.models {
		if !o.Present[e] && o.Present[1-e] {
			copy(start[3*e:3*e+3], start[3*(1-e):3*(1-e)+3])
		}
	}
	return start
}
