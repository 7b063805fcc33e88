package stats

import (
	"math"
	"sort"
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

// Quantile is the p quantile of x, which is in ascending order and not empty, on the line
// through its values from the least at 0 to the most at 1 (Hyndman & Fan, Am. Stat. 50(4),
// 1996, type 7; quoted from memory): at 0.5 the median. gonum's stat.LinInterp is type 4,
// whose 0.5 lies half a value below the median.
func Quantile(p float64, x []float64) float64 {
	at := p * float64(len(x)-1)
	k := min(int(at), len(x)-1)
	if k == len(x)-1 {
		return x[k]
	}
	return x[k] + (at-float64(k))*(x[k+1]-x[k])
}
