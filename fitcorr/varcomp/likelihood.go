package varcomp

import "math"

// data holds the sufficient statistics of one y on a design: the innermost
// means and the sum of squares inside them.
type data struct {
	*Design
	centre   float64   // subtracted from every y, against cancellation
	mean     []float64 // per innermost group, about centre
	ssWithin float64

	// scratch of eval, one slice per factor
	m, p [][]float64
}

func newData(d *Design, y []float64) *data {
	s := &data{Design: d, mean: make([]float64, len(d.count))}
	// Subtracting one observation is exact for nearby values; subtracting
	// their rounded mean would not be.
	s.centre = y[0]
	for i, v := range y {
		s.mean[d.cell[i]] += v - s.centre
	}
	for c := range s.mean {
		s.mean[c] /= d.count[c]
	}
	for i, v := range y {
		r := v - s.centre - s.mean[d.cell[i]]
		s.ssWithin += r * r
	}
	for _, n := range d.size {
		s.m = append(s.m, make([]float64, n))
		s.p = append(s.p, make([]float64, n))
	}
	return s
}

// point is what the likelihood needs to know at one set of variances.
type point struct {
	mean, precision float64 // of the fixed mean
	logDet          float64 // log |V|
	q               float64 // residual quadratic form
}

// eval walks the nesting from the inside out. A group whose members have
// means m and precisions p has precision s = Σp about its own mean Σpm/s; the
// group's effect of variance v turns that into s/(1+sv) about the next mean
// and adds log(1+sv) to log |V|. That is the inverse and determinant of the
// nested covariance matrix in closed form (repeated Sherman–Morrison).
func (s *data) eval(v []float64, ve float64) point {
	last := len(s.size) - 1
	r := point{q: s.ssWithin / ve, logDet: float64(s.n) * math.Log(ve)}
	copy(s.m[last], s.mean)
	for c, n := range s.count {
		s.p[last][c] = n / ve
	}
	det := 1.0 // product of the factors 1+sv, one logarithm for many
	for l := last; ; l-- {
		for g, p := range s.p[l] {
			f := 1 + p*v[l]
			det *= f
			if det > 1e200 {
				r.logDet += math.Log(det)
				det = 1
			}
			s.p[l][g] = p / f
		}
		if l == 0 {
			break
		}
		up := s.parent[l]
		m, p := s.m[l-1], s.p[l-1]
		clear(m)
		clear(p)
		for g, pg := range s.p[l] {
			p[up[g]] += pg
			m[up[g]] += pg * s.m[l][g]
		}
		for g := range m {
			m[g] /= p[g]
		}
		for g, pg := range s.p[l] {
			dev := s.m[l][g] - m[up[g]]
			r.q += pg * dev * dev
		}
	}
	r.logDet += math.Log(det)
	for g, p := range s.p[0] {
		r.precision += p
		r.mean += p * s.m[0][g]
	}
	r.mean /= r.precision
	for g, p := range s.p[0] {
		dev := s.m[0][g] - r.mean
		r.q += p * dev * dev
	}
	return r
}

// criterion is −2 log restricted likelihood at absolute variances.
func (s *data) criterion(v []float64, ve float64) float64 {
	a := s.eval(v, ve)
	return a.logDet + math.Log(a.precision) + a.q + float64(s.n-1)*math.Log(2*math.Pi)
}

// profiled is the criterion at variance ratios v/ve with the best ve, which
// is q/(n−1).
func (s *data) profiled(ratio []float64) float64 {
	a := s.eval(ratio, 1)
	df := float64(s.n - 1)
	return a.logDet + math.Log(a.precision) + df*(1+math.Log(2*math.Pi*a.q/df))
}

// minimiseRatios finds the ratios from factor l on that minimise the profiled
// criterion, the ones before l being held; it leaves them in ratio and
// returns the criterion. Factors are few (one or two), so nested line
// searches are quick and cannot be led astray by a boundary.
func (s *data) minimiseRatios(ratio []float64, l int) float64 {
	if l == len(ratio) {
		return s.profiled(ratio)
	}
	best := minimiseScale(func(x float64) float64 {
		ratio[l] = x
		return s.minimiseRatios(ratio, l+1)
	}, 1e-8, 1e14)
	ratio[l] = best
	return s.minimiseRatios(ratio, l+1)
}
