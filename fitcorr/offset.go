package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A headset position is six numbers: the left ear's three axes, then the right
// ear's. The cups hang on one headband, so both ears share most of it.
const headsetDim = 6

// earModel is what one ear's level is held against: the survey and the scatter
// about it, on the position bands.
type earModel struct {
	survey  *EarSurvey
	bands   positionBands
	scatter *mat.SymDense // dB², of one seating about the surface at its true position
	total   *mat.SymDense // dB², of one survey row: scatter and the ruler's error
}

// Nuisance standard deviations in dB: the gain of the microphone and what a
// leak leaves above the leak's own range, (300 Hz/f)² in shape.
const (
	gainSD     = 5.0
	leakTailSD = 0.5
)

// addNuisance adds the covariance of level and leak tail.
func (m earModel) addNuisance(cov *mat.SymDense) {
	n := m.bands.n
	for i := range n {
		for j := i; j < n; j++ {
			ti := math.Pow(positionLowHz/m.bands.hz[i], 2)
			tj := math.Pow(positionLowHz/m.bands.hz[j], 2)
			cov.SetSym(i, j, cov.At(i, j)+gainSD*gainSD+leakTailSD*leakTailSD*ti*tj)
		}
	}
}

// covariance returns the covariance of one seating's level about the surface
// at d, nuisances included: scatter·scale + survey error + noise.
func (m earModel) covariance(scale float64, excess, noise []float64) *mat.SymDense {
	n := m.bands.n
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := scale*m.scatter.At(i, j) + math.Sqrt(excess[i]*excess[j])*m.total.At(i, j)
			if i == j {
				v += noise[i]
			}
			cov.SetSym(i, j, v)
		}
	}
	m.addNuisance(cov)
	return cov
}

// observation is one seating's blocked-entrance level, both ears, relative to
// the survey's level at the marked position.
type observation struct {
	index    int // into the seatings of the model
	present  [2]bool
	level    [2][]float64
	variance [2][]float64
}

func observe(s Seating, index int, models *[2]earModel) observation {
	o := observation{index: index}
	for e := range models {
		m := &models[e]
		if m.survey == nil {
			continue
		}
		rel := s.Ears[e]
		rel.LevelDB = append([]float64(nil), rel.LevelDB...)
		for b := range rel.LevelDB {
			if b < len(m.survey.BaseDB) {
				rel.LevelDB[b] -= m.survey.BaseDB[b]
			}
		}
		o.level[e], o.variance[e] = m.bands.join(rel, m.survey.Valid)
		count := 0
		for _, v := range o.variance[e] {
			if v < missingVar {
				count++
			}
		}
		o.present[e] = 3*count >= m.bands.n
	}
	return o
}

// positionPrior is a normal prior of a headset position.
type positionPrior struct {
	mean [headsetDim]float64
	cov  *mat.SymDense // headsetDim
}

// headsetCov builds the covariance of a headset position from the standard
// deviations of what the ears share and of what each has of its own.
func headsetCov(common, own [3]float64) *mat.SymDense {
	c := mat.NewSymDense(headsetDim, nil)
	for a := range 3 {
		v, w := common[a]*common[a], own[a]*own[a]
		c.SetSym(a, a, v+w)
		c.SetSym(3+a, 3+a, v+w)
		c.SetSym(a, 3+a, v)
	}
	return c
}

// fixturePrior is wide enough not to matter where the survey sees: a seating
// is a few millimetres off and the headband hardly lets the cups differ.
func fixturePrior() positionPrior {
	return positionPrior{cov: headsetCov([3]float64{8, 8, 8}, [3]float64{2, 2, 2})}
}

// placed is the estimated position of one seating.
type placed struct {
	pos    [headsetDim]float64
	cov    *mat.SymDense
	misfit [2]float64 // χ² of the residual
	dof    [2]float64
	resid  [2][]float64 // level minus surface, position bands
	slope  [2]*mat.Dense
	excess [2][]float64
}

// place estimates a fixture seating's position by maximum a posteriori with
// Gauss–Newton steps from the best point of a coarse grid.
func place(o observation, models *[2]earModel, prior positionPrior) (placed, bool) {
	var p placed
	if !o.present[0] && !o.present[1] {
		return p, false
	}
	p.pos = gridStart(o, models, prior)
	priorPrec := mat.NewDense(headsetDim, headsetDim, nil)
	if priorPrec.Inverse(prior.cov) != nil {
		return p, false
	}
	for iter := range 12 {
		info := mat.DenseCopyOf(priorPrec)
		rhs := mat.NewVecDense(headsetDim, nil)
		rhs.MulVec(priorPrec, mat.NewVecDense(headsetDim, prior.mean[:]))
		for e := range models {
			if !o.present[e] {
				continue
			}
			m := &models[e]
			d := [3]float64(p.pos[3*e : 3*e+3])
			level, slope, excess := m.survey.surface(m.bands, d)
			j := mat.NewDense(m.bands.n, 3, nil)
			z := mat.NewVecDense(m.bands.n, nil)
			p.resid[e] = make([]float64, m.bands.n)
			for r := range m.bands.n {
				p.resid[e][r] = o.level[e][r] - level[r]
				v := p.resid[e][r]
				for a := range 3 {
					j.Set(r, a, slope[a][r])
					v += slope[a][r] * d[a]
				}
				z.SetVec(r, v)
			}
			p.slope[e], p.excess[e] = j, excess
			var chol mat.Cholesky
			if !chol.Factorize(m.covariance(1, excess, o.variance[e])) {
				return p, false
			}
			var wj mat.Dense
			if chol.SolveTo(&wj, j) != nil {
				return p, false
			}
			var jwj mat.Dense
			jwj.Mul(j.T(), &wj)
			var jwz mat.VecDense
			jwz.MulVec(wj.T(), z)
			for a := range 3 {
				rhs.SetVec(3*e+a, rhs.AtVec(3*e+a)+jwz.AtVec(a))
				for b := range 3 {
					info.Set(3*e+a, 3*e+b, info.At(3*e+a, 3*e+b)+jwj.At(a, b))
				}
			}
			var wr mat.VecDense
			rv := mat.NewVecDense(m.bands.n, p.resid[e])
			if chol.SolveVecTo(&wr, rv) != nil {
				return p, false
			}
			p.misfit[e] = mat.Dot(rv, &wr)
			p.dof[e] = -5
			for _, v := range o.variance[e] {
				if v < missingVar {
					p.dof[e]++
				}
			}
		}
		var cov mat.Dense
		if cov.Inverse(info) != nil {
			return p, false
		}
		var next mat.VecDense
		next.MulVec(&cov, rhs)
		p.cov = symmetric(&cov)
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

// gridStart returns the point of a coarse forward–up grid over the survey's
// reach that explains each ear best.
func gridStart(o observation, models *[2]earModel, prior positionPrior) [headsetDim]float64 {
	start := prior.mean
	for e := range models {
		if !o.present[e] {
			continue
		}
		m := &models[e]
		reach := m.survey.reach()
		var chol mat.Cholesky
		excess := make([]float64, m.bands.n)
		if !chol.Factorize(m.covariance(1, excess, o.variance[e])) {
			continue
		}
		best := math.Inf(1)
		const steps = 3
		for i := -steps; i <= steps; i++ {
			for k := -steps; k <= steps; k++ {
				d := [3]float64{reach[0] * float64(i) / steps, reach[1] * float64(k) / steps, 0}
				level := m.survey.levelAt(m.bands, d)
				r := mat.NewVecDense(m.bands.n, nil)
				for b := range level {
					r.SetVec(b, o.level[e][b]-level[b])
				}
				var wr mat.VecDense
				if chol.SolveVecTo(&wr, r) != nil {
					continue
				}
				cost := mat.Dot(r, &wr)
				for a := range 2 {
					t := d[a] - prior.mean[3*e+a]
					cost += t * t / prior.cov.At(3*e+a, 3*e+a)
				}
				if cost < best {
					best = cost
					copy(start[3*e:3*e+3], d[:])
				}
			}
		}
	}
	// One ear alone speaks for the other.
	for e := range models {
		if !o.present[e] && o.present[1-e] {
			copy(start[3*e:3*e+3], start[3*(1-e):3*(1-e)+3])
		}
	}
	return start
}

func symmetric(d *mat.Dense) *mat.SymDense {
	n, _ := d.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (d.At(i, j)+d.At(j, i))/2)
		}
	}
	return s
}

// estimates turns a headset position into the two ears' and the headset's
// estimate; the headset's is the mean of both ears.
func estimates(pos [headsetDim]float64, cov, prior mat.Symmetric) (ears [2]Estimate, headset Estimate) {
	for a := range 3 {
		headset.Value[a] = (pos[a] + pos[3+a]) / 2
		for b := range 3 {
			for e := range 2 {
				ears[e].Cov[a][b] = cov.At(3*e+a, 3*e+b)
				headset.Cov[a][b] += (cov.At(3*e+a, 3*e+b) + cov.At(3*e+a, 3*(1-e)+b)) / 4
			}
		}
		for e := range 2 {
			ears[e].Value[a] = pos[3*e+a]
		}
	}
	const seen = 0.5 // of the prior's variance left
	for a := range 3 {
		ph := (prior.At(a, a) + prior.At(3+a, 3+a) + 2*prior.At(a, 3+a)) / 4
		headset.Seen[a] = headset.Cov[a][a] < seen*ph
		for e := range 2 {
			ears[e].Seen[a] = ears[e].Cov[a][a] < seen*prior.At(3*e+a, 3*e+a)
		}
	}
	return ears, headset
}
