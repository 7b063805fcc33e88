package stats

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// SmoothMean replaces each value by the mean over ±half neighbours, fewer at the ends. v
// is changed in place; half is a number of values.
func SmoothMean(v []float64, half int) { SmoothVariance(v, nil, half) }

// MeanSD is the mean of y and its standard deviation (n − 1); NaN of fewer than two
// values. Both have the unit of y.
func MeanSD(y []float64) (mean, sd float64) {
	for _, v := range y {
		mean += v
	}
	mean /= float64(len(y))
	for _, v := range y {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(y)-1))
}

// SmoothVariance replaces each valid value by the mean over the valid ones within ±half
// neighbours; valid of nil means all. v is changed in place; values that are not valid
// stay. half is a number of values.
func SmoothVariance(v []float64, valid []bool, half int) {
	src := append([]float64(nil), v...)
	for b := range v {
		if valid != nil && !valid[b] {
			continue
		}
		var sum, m float64
		for j := max(0, b-half); j <= min(len(v)-1, b+half); j++ {
			if valid == nil || valid[j] {
				sum += src[j]
				m++
			}
		}
		v[b] = sum / m
	}
}

// Median is the middle value of x, the mean of the two middle ones of an even number; 0
// of none. x keeps its order. It has the unit of x.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

// Spread is the median with the 10th and 90th percentile per band over curves of
// n bands, whose NaN do not count; a band is NaN where fewer than three curves or
// less than half of them count. ok is false for fewer than three curves: a
// spread of two is not one.
func Spread(curves [][]float64, n int) (mid, lower, upper []float64, ok bool) {
	if len(curves) < 3 {
		return nil, nil, nil, false
	}
	mid, lower, upper = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		var v []float64
		for _, c := range curves {
			if !math.IsNaN(c[i]) {
				v = append(v, c[i])
			}
		}
		if len(v) < 3 || 2*len(v) < len(curves) {
			mid[i], lower[i], upper[i] = math.NaN(), math.NaN(), math.NaN()
			continue
		}
		sort.Float64s(v)
		mid[i] = stat.Quantile(0.5, stat.LinInterp, v, nil)
		lower[i] = stat.Quantile(0.1, stat.LinInterp, v, nil)
		upper[i] = stat.Quantile(0.9, stat.LinInterp, v, nil)
	}
	return mid, lower, upper, true
}
