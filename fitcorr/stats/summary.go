package stats

import (
	"math"
	"sort"
)

// SmoothMean replaces each value by the mean over ±half neighbours, fewer at the ends.
func SmoothMean(v []float64, half int) { SmoothVariance(v, nil, half) }

// MeanSD is the mean of y and its standard deviation (n − 1); NaN of fewer than two values.
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

// SmoothVariance replaces each valid value by the mean over the valid ones within
// ±half neighbours; valid of nil means all.
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

// Median is the middle value of x, the mean of the two middle ones of an even
// number; 0 of none. x keeps its order.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
