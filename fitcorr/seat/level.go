package seat

import (
	"math"
	"slices"

	"asworn/capture/order"
	"asworn/fitcorr/stats"
)

// Level is a level in dB with half its interval per kept band. Lists are as long as
// each other; DB and Half are 0 where Valid is false.
type Level struct {
	DB, Half []float64
	Valid    []bool
}

// NewLevel makes a level of n bands of what at gives for each: the level, half its
// interval, and whether it counts.
func NewLevel(n int, at func(b int) (db, half float64, ok bool)) Level {
	l := Level{make([]float64, n), make([]float64, n), make([]bool, n)}
	for b := range n {
		if db, half, ok := at(b); ok {
			l.DB[b], l.Half[b], l.Valid[b] = db, half, true
		}
	}
	return l
}

// Less is the level less a reference per band, which adds nothing to the interval;
// bands beyond the reference do not count.
func (l Level) Less(referenceDB []float64) Level {
	return NewLevel(len(l.DB), func(b int) (float64, float64, bool) {
		if b >= len(referenceDB) {
			return 0, 0, false
		}
		return l.DB[b] - referenceDB[b], l.Half[b], l.Valid[b]
	})
}

// Level is the curve as it was measured, with the interval of the recording's noise.
func (c Curve) Level(confidence float64) Level {
	k := stats.Coverage(confidence, 0)
	return NewLevel(len(c.LevelDB), func(b int) (float64, float64, bool) {
		if !c.Counts(b) {
			return 0, 0, false
		}
		return c.LevelDB[b], k * c.StdErrDB[b], true
	})
}

// MeanLevel is the mean of seatings in dB with Student's interval of it: where two or
// more count in a band, and those that count are half of all or more. Of one alone it is
// its Level, of none it is empty.
func MeanLevel(of []Curve, confidence float64) Level {
	switch len(of) {
	case 0:
		return Level{}
	case 1:
		return of[0].Level(confidence)
	}
	factors := make([]float64, len(of)+1) // by how many count
	for n := 2; n <= len(of); n++ {
		factors[n] = stats.Coverage(confidence, float64(n-1)) / math.Sqrt(float64(n))
	}
	bands := 0
	for _, c := range of {
		bands = max(bands, len(c.LevelDB))
	}
	return NewLevel(bands, func(b int) (float64, float64, bool) {
		var x []float64
		for _, c := range of {
			if c.Counts(b) {
				x = append(x, c.LevelDB[b])
			}
		}
		if len(x) < 2 || 2*len(x) < len(of) {
			return 0, 0, false
		}
		mean, sd := stats.MeanSD(x)
		return mean, factors[len(x)] * sd, true
	})
}

// Spread is the median with the 10th and 90th percentile per band over curves of n
// bands. A band is NaN where fewer than three curves or less than half of them count. ok
// is false for fewer than three curves: a spread of two is not one.
func Spread(of []Curve, n int) (median, lower, upper []float64, ok bool) {
	return spread(masked(of, n), n)
}

// SpreadAbout is the median of each ear's curves, nil where there are fewer than three,
// and the 10th and 90th percentile of what the curves of both ears differ from them; nil
// without a median.
func SpreadAbout(of [2][]Curve, n int) (median [2][]float64, lower, upper []float64) {
	var apart [][]float64
	for e := range of {
		curves := masked(of[e], n)
		mid, _, _, ok := spread(curves, n)
		if !ok {
			continue
		}
		median[e] = mid
		for _, c := range curves {
			for b := range c {
				c[b] -= mid[b]
			}
			apart = append(apart, c)
		}
	}
	_, lower, upper, _ = spread(apart, n)
	return median, lower, upper
}

// spread is Spread of levels that are NaN where they do not count.
func spread(curves [][]float64, n int) (median, lower, upper []float64, ok bool) {
	if len(curves) < 3 {
		return nil, nil, nil, false
	}
	median, lower, upper = make([]float64, n), make([]float64, n), make([]float64, n)
	for b := range n {
		var v []float64
		for _, c := range curves {
			if !math.IsNaN(c[b]) {
				v = append(v, c[b])
			}
		}
		if len(v) < 3 || 2*len(v) < len(curves) {
			median[b], lower[b], upper[b] = math.NaN(), math.NaN(), math.NaN()
			continue
		}
		slices.Sort(v)
		median[b], lower[b], upper[b] = order.Quantile(0.5, v), order.Quantile(0.1, v), order.Quantile(0.9, v)
	}
	return median, lower, upper, true
}

// Masked is the level per band for n bands, NaN where the curve does not count.
func (c Curve) Masked(n int) []float64 {
	out := make([]float64, n)
	for b := range out {
		out[b] = math.NaN()
		if b < len(c.LevelDB) && b < len(c.Valid) && c.Valid[b] {
			out[b] = c.LevelDB[b]
		}
	}
	return out
}

func masked(of []Curve, n int) [][]float64 {
	out := make([][]float64, len(of))
	for i, c := range of {
		out[i] = c.Masked(n)
	}
	return out
}
