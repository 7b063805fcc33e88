package leak

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// start aligns the curves in the upper half of the range, takes those with
// within near dB of the most low end as the reference and gives every other curve a leak found
// on a grid.
func (j *joint) start(near float64) error {
	if err := j.weigh(startScatter); err != nil {
		return err
	}
	n := len(j.freq)
	low, high := n/4, n/2
	mean := func(c Curve, from, to int) float64 {
		sum, w := 0.0, 0.0
		for k := from; k < to; k++ {
			if v := c.VarDB[k]; !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k]
				w++
			}
		}
		if w == 0 {
			return math.NaN()
		}
		return sum / w
	}
	index := make([]float64, len(j.curves))
	j.gain, j.leak = make([]float64, len(j.curves)), make([]Params, len(j.curves))
	total := 0.0
	for i, c := range j.curves {
		j.gain[i] = mean(c, high, n)
		index[i] = mean(c, 0, low) - j.gain[i]
		if math.IsNaN(index[i]) {
			return fmt.Errorf("leak: curve %d has no valid level in a quarter of the range", i)
		}
		total += j.gain[i]
	}
	for i := range j.gain {
		j.gain[i] -= total / float64(len(j.gain))
	}
	order := append([]float64(nil), index...)
	sort.Sort(sort.Reverse(sort.Float64Slice(order)))
	// The second highest, lest one odd recording be the reference alone.
	j.sealed = make([]float64, n)
	for k := range n {
		sum, w := 0.0, 0.0
		for i, c := range j.curves {
			if v := c.VarDB[k]; index[i] >= order[1]-near && !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k] - j.gain[i]
				w++
			}
		}
		if w > 0 {
			j.sealed[k] = sum / w
		}
	}
	y, starts := mat.NewVecDense(n, nil), j.source.starts(j.freq)
	for i, c := range j.curves {
		if index[i] >= order[1]-near {
			continue
		}
		for k := range n {
			y.SetVec(k, 0)
			if j.weight[i].At(k, k) > 0 {
				y.SetVec(k, c.LevelDB[k]-j.sealed[k])
			}
		}
		one := newSingle(j.freq, j.source, starts, y, j.weight[i])
		g, p, _ := one.leaking()
		j.gain[i], j.leak[i] = g, p
	}
	return nil
}
