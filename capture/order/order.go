// Package order holds order statistics: the k-th smallest value, the median, quantiles. It
// does not know what the values are.
package order

import (
	"math"
	"slices"
)

// Median returns the median of x, which it puts in another order; NaN when x is empty.
// Samples must be finite.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	high := Select(x, n/2)
	if n%2 == 0 {
		return (slices.Max(x[:n/2]) + high) / 2
	}
	return high
}

// Select returns the k-th smallest value of x, from 0, and puts x in another order: what
// is not above it before it, what is not below it behind it (Hoare, Comm. ACM 4(7), 1961,
// algorithm 65). x must hold more than k values.
func Select(x []float64, k int) float64 {
	for from, to := 0, len(x)-1; from < to; {
		i, j, pivot := from, to, x[from+(to-from)/2]
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			to = j
		case k >= i:
			from = i
		default:
			return x[k]
		}
	}
	return x[k]
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
