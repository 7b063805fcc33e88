package placing

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// Part is one normal of a mixture over a headset position.
type Part struct {
	Weight float64 // 0 to 1
	Pos    [HeadsetDim]float64
	Cov    *mat.SymDense // HeadsetDim²
}

// Posterior is what is known of where a headset sits: a mixture of normals, one
// for each place that explains the levels, the most probable first. Weights sum
// to 1. The zero value knows nothing, not even the prior.
type Posterior []Part

// NewPosterior makes the mixture of the places of a seating. About each maximum
// p the log likelihood of the sound is
// ℓ + g'(d−p) − ½(d−p)'H(d−p); tempered, and with the normal prior,
// it is a normal whose integral is the part's weight (Laplace's method).
func NewPosterior(places []Placed, prior Prior, temper Temper) Posterior {
	var out Posterior
	var logs []float64
	precision := mat.NewDense(HeadsetDim, HeadsetDim, nil)
	if precision.Inverse(prior.Cov) != nil {
		return nil
	}
	temper = temper.filled()
	for _, p := range places {
		info, pull := temper.of(p)
		sum := mat.NewSymDense(HeadsetDim, nil)
		for i := range HeadsetDim {
			for j := i; j < HeadsetDim; j++ {
				sum.SetSym(i, j, precision.At(i, j)+info.At(i, j))
			}
		}
		var chol mat.Cholesky
		cov := mat.NewSymDense(HeadsetDim, nil)
		if !chol.Factorize(sum) || chol.InverseTo(cov) != nil {
			continue
		}
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
		part := Part{Pos: p.Pos, Cov: cov}
		for i := range gradient {
			for j := range gradient {
				step := cov.At(i, j) * gradient[j]
				part.Pos[i] += step
				log += gradient[i] * step / 2
			}
		}
		logs = append(logs, log-chol.LogDet()/2)
		out = append(out, part)
	}
	return out.weigh(logs)
}

// weigh sets the weights to those of the logarithms, sorts by them, and leaves
// out parts without weight.
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
	slices.SortStableFunc(p, func(a, b Part) int {
		switch {
		case a.Weight > b.Weight:
			return -1
		case a.Weight < b.Weight:
			return 1
		}
		return 0
	})
	const none = 1e-9
	return slices.DeleteFunc(p, func(a Part) bool { return a.Weight < none })
}

// Moments returns mean and covariance of the mixture; a nil covariance of an
// empty one.
func (p Posterior) Moments() (pos [HeadsetDim]float64, cov *mat.SymDense) {
	if len(p) == 0 {
		return pos, nil
	}
	for _, part := range p {
		for i, v := range part.Pos {
			pos[i] += part.Weight * v
		}
	}
	cov = mat.NewSymDense(HeadsetDim, nil)
	for _, part := range p {
		for i := range pos {
			for j := i; j < HeadsetDim; j++ {
				apart := (part.Pos[i] - pos[i]) * (part.Pos[j] - pos[j])
				stats.AddSym(cov, i, j, part.Weight*(part.Cov.At(i, j)+apart))
			}
		}
	}
	return pos, cov
}

// plane is the mean of both cups forward and up, mm, with its covariance.
func (p Part) plane() (at [2]float64, cov [2][2]float64) { return p.half(1) }

// half is half of the left cup's place and of the right one's times sign.
func (p Part) half(sign float64) (at [2]float64, cov [2][2]float64) {
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
// both cups being found at the place at, by a ruler with the given variances, mm².
// Each part counts as Student's t of df degrees of freedom, as the intervals do.
func (p Posterior) LogDensity(at, variance [2]float64, df float64) float64 {
	return p.logDensity(1, at, variance, df)
}

// LogDensityApart is the same of half of the left cup's place less the right one's.
func (p Posterior) LogDensityApart(at, variance [2]float64, df float64) float64 {
	return p.logDensity(-1, at, variance, df)
}

func (p Posterior) logDensity(sign float64, at, variance [2]float64, df float64) float64 {
	var sum float64
	top := math.Inf(-1)
	for _, part := range p {
		half, q := part.found(sign, at, variance)
		log := half + q/2 - (df+2)/2*math.Log1p(q/df) + math.Log(part.Weight) // the plane's t has the constants of the normal
		if log > top {
			sum, top = sum*math.Exp(top-log), log
		}
		sum += math.Exp(log - top)
	}
	return top + math.Log(sum) - math.Log(2*math.Pi)
}

// found is the log density of a place under one part, without constants, and the
// squared distance.
func (p Part) found(sign float64, at, variance [2]float64) (log, q float64) {
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
// mixture: each part moves by a Kalman step and gains the weight that it gave to
// the reading. Where sound and reading lie apart beyond chance neither is
// trusted: the result is half the one and half the other, and the second value
// is true.
func (p Posterior) Read(at, variance [ReadDim]float64, prior Prior) (Posterior, bool) {
	var tail float64
	for _, part := range p {
		_, q := part.found(1, at, variance)
		tail += part.Weight * stats.ChiTail(q, 2)
	}
	if tail < quarrelChance {
		alone := Part{Weight: 1, Pos: prior.Mean, Cov: mat.NewSymDense(HeadsetDim, nil)}
		alone.Cov.CopySym(prior.Cov)
		both := Posterior{alone.observed(1, at, variance)}
		both[0].Weight = 0.5
		for _, part := range p {
			part.Weight /= 2
			both = append(both, part)
		}
		return both, true
	}
	out := make(Posterior, len(p))
	logs := make([]float64, len(p))
	for i, part := range p {
		log, _ := part.found(1, at, variance)
		logs[i] = math.Log(part.Weight) + log
		out[i] = part.observed(1, at, variance)
	}
	return out.weigh(logs), false
}
