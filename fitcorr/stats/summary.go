package stats

import (
	"math"
)

// SmoothMean replaces each value by the mean over ±half neighbours, fewer at the ends. v
// is changed in place; half is a number of values.
func SmoothMean(v []float64, half int) { SmoothVariance(v, nil, half) }

// MeanSD is the mean of y and its standard deviation (n − 1); NaN of fewer than two
// values. Both have the unit of y. stat.MeanStdDev adds up in another order, by which the
// last digit of one mean in three would change.
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
