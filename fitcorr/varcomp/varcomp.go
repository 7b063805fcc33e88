// Package varcomp estimates variance components of nested random-effects
// models: how much of the scatter lies between listeners, between the seatings
// of a listener and between the repeats of a seating.
//
// The model is y = mean + a₁ + a₂ + … + e with independent normal effects, one
// per nested factor, and one fixed mean. It is fitted by restricted maximum
// likelihood (REML: Patterson & Thompson, Biometrika 58(3), 1971; Searle,
// Casella & McCulloch, Variance Components, Wiley 1992). Group sizes may
// differ. For balanced data away from zero the estimates are those of the
// classical analysis of variance.
package varcomp

import (
	"errors"
	"fmt"
	"math"
)

// Errors that say what the data cannot tell.
var (
	// ErrTooFew: fewer than two groups of the outermost factor.
	ErrTooFew = errors.New("fewer than two groups: nothing to compare")
	// ErrNotSeparable: every group of some factor holds a single member, so
	// two components cannot be told apart.
	ErrNotSeparable = errors.New("no group holds two members: the components cannot be told apart")
	// ErrNoSpread: the innermost groups show no spread at all, so that the
	// likelihood has no maximum.
	ErrNoSpread = errors.New("no spread inside the innermost groups")
)

// Design is the grouping of the observations, shared by every fit on it.
type Design struct {
	n int // observations
	// cell[i] is the innermost group of observation i.
	cell []int
	// parent[l][g] is the group of factor l−1 that holds group g of factor l;
	// parent[0] is nil. size[l] is the number of groups of factor l.
	parent [][]int
	size   []int
	count  []float64 // observations per innermost group
}

// Nested lays out a nested design from one label per observation and factor, outermost
// factor first: Nested(listener) or Nested(listener, seating). A label of an inner factor
// is read inside its outer group, so that seating 1 of two listeners are two seatings. It
// fails without a factor, on factors of different lengths, and with ErrTooFew or
// ErrNotSeparable.
func Nested[T comparable](factors ...[]T) (*Design, error) {
	if len(factors) == 0 {
		return nil, errors.New("varcomp: a design needs at least one factor")
	}
	n := len(factors[0])
	d := &Design{n: n, parent: make([][]int, len(factors)), size: make([]int, len(factors))}
	outer := make([]int, n) // group of the factor above, per observation
	for l, f := range factors {
		if len(f) != n {
			return nil, fmt.Errorf("varcomp: factor %d has %d labels, factor 1 has %d", l+1, len(f), n)
		}
		type key struct {
			outer int
			label T
		}
		seen := make(map[key]int)
		group := make([]int, n)
		for i, label := range f {
			k := key{outer[i], label}
			g, ok := seen[k]
			if !ok {
				g = len(seen)
				seen[k] = g
				if l > 0 {
					d.parent[l] = append(d.parent[l], outer[i])
				}
			}
			group[i] = g
		}
		d.size[l] = len(seen)
		outer = group
	}
	if d.size[0] < 2 {
		return nil, fmt.Errorf("varcomp: %w", ErrTooFew)
	}
	for l := 1; l < len(d.size); l++ {
		if d.size[l] == d.size[l-1] {
			return nil, fmt.Errorf("varcomp: factor %d: %w", l, ErrNotSeparable)
		}
	}
	if d.size[len(d.size)-1] == n {
		return nil, fmt.Errorf("varcomp: factor %d: %w", len(d.size), ErrNotSeparable)
	}
	d.cell = outer
	d.count = make([]float64, d.size[len(d.size)-1])
	for _, c := range d.cell {
		d.count[c]++
	}
	return d, nil
}

// Fit is a fitted model.
type Fit struct {
	Mean   float64 // generalised least-squares mean, in the unit of y
	MeanSE float64 // its standard error, in the unit of y
	MeanDF float64 // outermost groups − 1: the outermost group is the unit
	// Var holds the variances, outermost factor first and the residual last,
	// in the square of the unit of y. A component at the boundary is exactly 0.
	Var []float64
	// Criterion is −2 log restricted likelihood at the estimate, constants included,
	// without unit.
	Criterion float64

	data *data
}

// Fit estimates the components from y, one value per observation in the order of the
// labels that made the design. Components are variances in the unit of y squared. It
// fails on another number of values, on one that is not finite, and with ErrNoSpread.
func (d *Design) Fit(y []float64) (Fit, error) {
	if len(y) != d.n {
		return Fit{}, fmt.Errorf("varcomp: %d values for a design of %d observations", len(y), d.n)
	}
	for i, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Fit{}, fmt.Errorf("varcomp: value %d is %v", i+1, v)
		}
	}
	s := newData(d, y)
	if s.ssWithin <= 0 {
		return Fit{}, fmt.Errorf("varcomp: %w", ErrNoSpread)
	}
	ratio := make([]float64, len(d.size))
	s.minimiseRatios(ratio, 0)
	at := s.eval(ratio, 1)
	ve := at.q / float64(d.n-1)
	f := Fit{Mean: s.centre + at.mean, MeanSE: math.Sqrt(ve / at.precision), MeanDF: float64(d.size[0] - 1),
		Criterion: s.profiled(ratio), data: s}
	for _, r := range ratio {
		f.Var = append(f.Var, r*ve)
	}
	f.Var = append(f.Var, ve)
	return f, nil
}

// SD returns the standard deviation of component l in the order of Var. It has the unit
// of y; l counts from 0 at the outermost factor, the last is the residual's.
func (f Fit) SD(l int) float64 { return math.Sqrt(f.Var[l]) }

// TotalVar returns the sum of all components: the variance of one observation
// of a new outermost group.
func (f Fit) TotalVar() float64 {
	t := 0.0
	for _, v := range f.Var {
		t += v
	}
	return t
}
