package varcomp

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval returns the profile-likelihood interval of the standard deviation
// of component l (order of Var) at the given confidence, in the unit of y: all
// values whose restricted likelihood, the other components at their best, is
// within the χ²₁ quantile of the maximum. A lower end that the data do not
// exclude is exactly 0.
func (f Fit) Interval(l int, confidence float64) (lower, upper float64) {
	limit := f.Criterion + distuv.ChiSquared{K: 1}.Quantile(confidence)
	s := f.data
	excess := func(v float64) float64 { return s.profileAt(l, v, f.Var) - limit }

	at := f.Var[l]
	scale := f.TotalVar()
	if l < len(f.Var)-1 && (at == 0 || excess(0) <= 0) {
		lower = 0
	} else {
		lo := at
		for excess(lo) < 0 && lo > 1e-12*scale {
			lo /= 4
		}
		if lo > 1e-12*scale {
			lower = math.Exp(0.5 * root(func(u float64) float64 { return excess(math.Exp(u)) }, math.Log(lo), math.Log(at)))
		}
	}
	hi := math.Max(at, 1e-6*scale)
	start := hi
	for excess(hi) < 0 && hi < 1e9*scale {
		hi *= 4
	}
	upper = math.Exp(0.5 * root(func(u float64) float64 { return excess(math.Exp(u)) }, math.Log(start), math.Log(hi)))
	return lower, upper
}

// profileAt is the criterion with component l held at variance x and the
// others at their best; near gives the scale at which to look for them.
func (s *data) profileAt(l int, x float64, near []float64) float64 {
	factors := len(s.size)
	scale := 0.0
	for _, v := range near {
		scale += v
	}
	v := make([]float64, factors+1)
	v[l] = x
	var over func(i int) float64
	over = func(i int) float64 {
		switch {
		case i > factors:
			return s.criterion(v[:factors], v[factors])
		case i == l:
			return over(i + 1)
		}
		line := func(u float64) float64 {
			v[i] = u
			return over(i + 1)
		}
		best := 0.0
		if i == factors {
			// The residual is never 0 and its profile has one minimum.
			u, _ := golden(func(u float64) float64 { return line(math.Exp(u)) },
				math.Log(near[factors])-3, math.Log(scale)+5)
			best = math.Exp(u)
		} else {
			best = minimiseScale(line, 1e-7*scale, 1e3*scale)
		}
		return line(best)
	}
	return over(0)
}

// ChiSquaredInterval returns the exact interval of a standard deviation from
// its estimate sd with df degrees of freedom, in the unit of sd.
func ChiSquaredInterval(sd, df, confidence float64) (lower, upper float64) {
	c := distuv.ChiSquared{K: df}
	tail := (1 - confidence) / 2
	return sd * math.Sqrt(df/c.Quantile(1-tail)), sd * math.Sqrt(df/c.Quantile(tail))
}
