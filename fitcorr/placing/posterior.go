package placing

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// Normal is one normal of a mixture over a headset position.
type Normal struct {
	Weight float64             // 0 to 1
	Pos    [HeadsetDim]float64 // mean: mm, mm, degrees, twice
	Cov    *mat.SymDense       // HeadsetDim square, mm and degrees
}

// Posterior is what is known of where a headset sits: a mixture of normals, one
// for each place that explains the levels, the most probable first. Weights sum
// to 1. The zero value knows nothing, not even the prior.
type Posterior []Normal

// NewPosterior makes the mixture of the modes of a seating. About each maximum
// p the log likelihood of the sound is
//
//	ℓ + g'(d−p) − ½(d−p)'H(d−p);
//
// tempered, and with the normal prior, it is a normal whose integral is its weight
// (Laplace's method). Beyond the survey's displacements both cups alike are told
// less surely (beyondShare). Nil of no modes, or of a prior without inverse.
func NewPosterior(modes []Mode, prior Prior, temper Temper) Posterior {
	return NewTrial(modes, prior).Posterior(temper)
}

// Trial is the modes of a seating, prepared for one temper after the other.
type Trial struct {
	modes     []explained
	prior     Prior
	precision *mat.SymDense // of the prior
}

// NewTrial prepares modes, which it keeps.
func NewTrial(modes []Mode, prior Prior) Trial {
	t := Trial{prior: prior}
	var ok bool
	if t.precision, ok = inverseOf(prior.Cov); ok {
		for i := range modes {
			t.modes = append(t.modes, modes[i].explained())
		}
	}
	return t
}

// Posterior is NewPosterior.
func (t Trial) Posterior(temper Temper) Posterior {
	var out Posterior
	var logs []float64
	precision, prior := t.precision, t.prior
	temper = temper.filled()
	for _, p := range t.modes {
		info, pull := temper.of(p)
		sum := mat.NewSymDense(HeadsetDim, nil)
		for i := range HeadsetDim {
			for j := i; j < HeadsetDim; j++ {
				sum.SetSym(i, j, precision.At(i, j)+info[i][j])
			}
		}
		factor, ok := stats.Factorize(sum)
		if !ok {
			continue
		}
		logDet := factor.LogDet()
		cov := factor.Inverse()
		// The gradient of the tempered density at p, and the step to its top.
		var gradient [HeadsetDim]float64
		log := p.sound / temper.Headset
		for i := range gradient {
			gradient[i] = pull[i]
			for j := range gradient {
				v := precision.At(i, j) * (p.Pos[j] - prior.Mean[j])
				gradient[i] -= v
				log -= (p.Pos[i] - prior.Mean[i]) * v / 2
			}
		}
		normal := Normal{Pos: p.Pos, Cov: cov}
		for i := range gradient {
			for j := range gradient {
				step := cov.At(i, j) * gradient[j]
				normal.Pos[i] += step
				log += gradient[i] * step / 2
			}
		}
		logs = append(logs, log-logDet/2)
		beyond := beyondShare * p.beyond
		for a := range 2 {
			for _, at := range [][2]int{{a, a}, {a, 3 + a}, {3 + a, 3 + a}} {
				stats.AddSym(cov, at[0], at[1], beyond*beyond)
			}
		}
		out = append(out, normal)
	}
	return out.weigh(logs)
}

// weigh sets the weights to those of the logarithms, sorts by them, and leaves
// out normals without weight.
func (p Posterior) weigh(logs []float64) Posterior {
	if len(logs) == 0 {
		return nil
	}
	top := slices.Max(logs)
	var sum float64
	for i := range p {
		p[i].Weight = math.Exp(logs[i] - top)
		sum += p[i].Weight
	}
	for i := range p {
		p[i].Weight /= sum
	}
	slices.SortStableFunc(p, func(a, b Normal) int {
		switch {
		case a.Weight > b.Weight:
			return -1
		case a.Weight < b.Weight:
			return 1
		}
		return 0
	})
	const none = 1e-9
	return slices.DeleteFunc(p, func(a Normal) bool { return a.Weight < none })
}

// Moments returns mean (mm, mm, degrees, twice) and covariance (HeadsetDim square) of the
// mixture; a nil covariance of an empty one.
func (p Posterior) Moments() (pos [HeadsetDim]float64, cov *mat.SymDense) {
	if len(p) == 0 {
		return pos, nil
	}
	for _, normal := range p {
		for i, v := range normal.Pos {
			pos[i] += normal.Weight * v
		}
	}
	cov = mat.NewSymDense(HeadsetDim, nil)
	for _, normal := range p {
		for i := range pos {
			for j := i; j < HeadsetDim; j++ {
				apart := (normal.Pos[i] - pos[i]) * (normal.Pos[j] - pos[j])
				stats.AddSym(cov, i, j, normal.Weight*(normal.Cov.At(i, j)+apart))
			}
		}
	}
	return pos, cov
}

// plane is the mean of both cups forward and up, mm, with its covariance, mm².
func (p Normal) plane() (at [2]float64, cov [2][2]float64) { return p.half(1) }

// half is half of the left cup's position and of the right one's times sign, forward and
// up, mm: the mean of both for a sign of 1, how they lie apart for −1; with its covariance.
func (p Normal) half(sign float64) (at [2]float64, cov [2][2]float64) {
	for a := range at {
		at[a] = (p.Pos[a] + sign*p.Pos[3+a]) / 2
		for b := range at {
			cov[a][b] = (p.Cov.At(a, b) + p.Cov.At(3+a, 3+b) + sign*(p.Cov.At(a, 3+b)+p.Cov.At(3+a, b))) / 4
		}
	}
	return at, cov
}

// normal2 is −½(q + log|C|) of a difference in the plane, without constants, and
// the squared distance q.
func normal2(diff [2]float64, c [2][2]float64) (log, q float64) {
	det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
	q = (diff[0]*diff[0]*c[1][1] - 2*diff[0]*diff[1]*c[0][1] + diff[1]*diff[1]*c[0][0]) / det
	return -(q + math.Log(det)) / 2, q
}

// LogDensity is the log density, 1/mm², that the mixture gives to the mean of
// both cups being found at a point of the plane, mm, by a ruler with the given variances, mm².
// Each normal counts as Student's t of df degrees of freedom, as the intervals do.
func (p Posterior) LogDensity(at, variance [2]float64, df float64) float64 {
	return p.logDensity(1, at, variance, df)
}

// LogDensityApart is the same, 1/mm², of half of the left cup's position less the right
// one's.
func (p Posterior) LogDensityApart(at, variance [2]float64, df float64) float64 {
	return p.logDensity(-1, at, variance, df)
}

func (p Posterior) logDensity(sign float64, at, variance [2]float64, df float64) float64 {
	var sum float64
	top := math.Inf(-1)
	for _, normal := range p {
		half, q := normal.found(sign, at, variance)
		log := half + q/2 - (df+2)/2*math.Log1p(q/df) + math.Log(normal.Weight) // the plane's t has the constants of the normal
		if log > top {
			sum, top = sum*math.Exp(top-log), log
		}
		sum += math.Exp(log - top)
	}
	return top + math.Log(sum) - math.Log(2*math.Pi)
}

// found is the log density of a point of the plane under one normal, without constants,
// and the squared distance in standard deviations.
func (p Normal) found(sign float64, at, variance [2]float64) (log, q float64) {
	where, cov := p.half(sign)
	for a := range at {
		where[a] = at[a] - where[a]
		cov[a][a] += variance[a]
	}
	return normal2(where, cov)
}

// quarrelChance is the probability below which a reading as far from the sound
// as this one is no chance.
const quarrelChance = 1e-3

// Read multiplies a reading of the mean of both cups, mm and mm², into the
// mixture: each normal moves by a Kalman step and gains the weight that it gave to
// the reading. Where sound and reading lie apart beyond chance neither is
// trusted: the result is half the one and half the other, and the second value
// is true.
func (p Posterior) Read(at, variance [ReadDim]float64, prior Prior) (Posterior, bool) {
	var tail float64
	for _, normal := range p {
		_, q := normal.found(1, at, variance)
		tail += normal.Weight * stats.ChiTail(q, 2)
	}
	if tail < quarrelChance {
		alone := Normal{Weight: 1, Pos: prior.Mean, Cov: mat.NewSymDense(HeadsetDim, nil)}
		alone.Cov.CopySym(prior.Cov)
		both := Posterior{alone.observed(1, at, variance)}
		both[0].Weight = 0.5
		for _, normal := range p {
			normal.Weight /= 2
			both = append(both, normal)
		}
		return both, true
	}
	out := make(Posterior, len(p))
	logs := make([]float64, len(p))
	for i, normal := range p {
		log, _ := normal.found(1, at, variance)
		logs[i] = math.Log(normal.Weight) + log
		out[i] = normal.observed(1, at, variance)
	}
	return out.weigh(logs), false
}

// ReadDim is the number of axes that are read, in mm: forward and up.
const ReadDim = 2

// observed is the Kalman step of r = (left ± right)/2 + e, an axis at a time, the sign being 1 or −1.
func (p Normal) observed(sign float64, r, variance [ReadDim]float64) Normal {
	out := Normal{Weight: p.Weight, Pos: p.Pos, Cov: mat.NewSymDense(HeadsetDim, nil)}
	out.Cov.CopySym(p.Cov)
	for a := range r {
		where, cov := out.half(sign)
		gap, v := r[a]-where[a], cov[a][a]+variance[a]
		var c [HeadsetDim]float64
		for i := range c {
			c[i] = (out.Cov.At(i, a) + sign*out.Cov.At(i, 3+a)) / 2
		}
		for i := range c {
			out.Pos[i] += c[i] / v * gap
			for j := i; j < HeadsetDim; j++ {
				stats.AddSym(out.Cov, i, j, -c[i]*c[j]/v)
			}
		}
	}
	return out
}
