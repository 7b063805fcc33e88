package leak

import (
	"fmt"
	"math"
	"sort"
)

// start gives the fit where to start from. It aligns the curves in the upper half of the
// range, takes those within near dB of the most low end as the reference and gives every
// other curve a leak found on a grid.
func (j *joint) start(near float64) error {
	if err := j.weigh(startScatter); err != nil {
		return err
	}
	lowEnd, err := j.align()
	if err != nil {
		return err
	}
	order := append([]float64(nil), lowEnd...)
	sort.Sort(sort.Reverse(sort.Float64Slice(order)))
	// The second highest, lest one odd recording be the reference alone.
	least := order[1] - near
	j.sealed = meanCurve(len(j.freq), j.curves, j.gain, func(i int) bool { return lowEnd[i] >= least })
	n := len(j.freq)
	y, starts := make([]float64, n), j.source.starts(j.freq)
	for i, c := range j.curves {
		if lowEnd[i] >= least {
			continue
		}
		for k := range n {
			y[k] = 0
			if j.weight[i].At(k, k) > 0 {
				y[k] = c.LevelDB[k] - j.sealed[k]
			}
		}
		one := newSingle(j.freq, j.source, starts, y, j.weight[i])
		g, p, _ := one.leaking()
		j.gain[i], j.leak[i] = g, p
	}
	return nil
}

// align sets every curve's gain to its mean over the upper half of the frequencies, less
// that of all curves, and returns how much low end each has: the mean over the lowest
// quarter re that of the upper half, dB. No curve leaks yet.
func (j *joint) align() (lowEnd []float64, err error) {
	n := len(j.freq)
	lowEnd = make([]float64, len(j.curves))
	j.gain, j.leak = make([]float64, len(j.curves)), make([]Params, len(j.curves))
	total := 0.0
	for i, c := range j.curves {
		j.gain[i] = c.mean(n/2, n)
		lowEnd[i] = c.mean(0, n/4) - j.gain[i]
		if math.IsNaN(lowEnd[i]) {
			return nil, fmt.Errorf("leak: curve %d has no valid level in a quarter of the range", i)
		}
		total += j.gain[i]
	}
	for i := range j.gain {
		j.gain[i] -= total / float64(len(j.gain))
	}
	return lowEnd, nil
}

// meanCurve is the mean over the curves of the reference, less their gains, dB, at each of n
// frequencies; 0 where none counts.
func meanCurve(n int, curves []Curve, gain []float64, reference func(i int) bool) []float64 {
	out := make([]float64, n)
	for k := range out {
		sum, w := 0.0, 0.0
		for i, c := range curves {
			if reference(i) && c.counts(k) {
				sum += c.LevelDB[k] - gain[i]
				w++
			}
		}
		if w > 0 {
			out[k] = sum / w
		}
	}
	return out
}

// counts reports whether the level at frequency k is known.
func (c Curve) counts(k int) bool { return !math.IsInf(c.VarDB[k], 0) && !math.IsNaN(c.VarDB[k]) }

// mean is the mean level, dB, at the frequencies from to to−1 that count; NaN of none.
func (c Curve) mean(from, to int) float64 {
	sum, w := 0.0, 0.0
	for k := from; k < to; k++ {
		if c.counts(k) {
			sum += c.LevelDB[k]
			w++
		}
	}
	if w == 0 {
		return math.NaN()
	}
	return sum / w
}
