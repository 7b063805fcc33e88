// Package order holds order statistics: the k-th smallest value, the median, quantiles. It
// does not know what the values are.
package order

import "math"

// Median returns the median of x, which it puts in another order; NaN when x is empty.
// Samples must be finite.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	high := Select(x, n/2)
	if n%2 == 0 {
		low := x[0]
		for _, v := range x[1 : n/2] {
			if v > low {
				low = v
			}
		}
		return (low + high) / 2
	}
	return high
}

// Select returns the k-th smallest value of x, from 0, and puts x in another order: what
// is not above it before it, what is not below it behind it (Hoare, Comm. ACM 4(7), 1961,
// algorithm 65). x must hold more than k values.
func Select(x []float64, k int) float64 {
	from, to := 0, len(x)-1
	for to-from >= few {
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
	return selectOfFew(x[from:to+1], k-from)
}

// few is the number of values up to which selectOfFew is the quicker, whatever they are.
const few = 128

// selectOfFew is Select with one place between what is below a pivot and what is not
// (Lomuto's partition, in Bentley, Programming Pearls, 1986, quoted from memory), which
// takes no branch that depends on a value: a processor guesses every other of those wrongly.
// The time goes with the square of the number of equal values.
func selectOfFew(x []float64, k int) float64 {
	for last := len(x) - 1; last > 0; last = len(x) - 1 {
		middle := last / 2 // of three
		if a, b, c := x[0], x[middle], x[last]; (a < b) != (a < c) {
			middle = 0
		} else if (c < a) != (c < b) {
			middle = last
		}
		pivot := x[middle]
		x[middle] = x[last]
		below := 0
		for i, v := range x[:last] {
			x[i], x[below] = x[below], v
			one := 0
			if v < pivot {
				one = 1
			}
			below += one
		}
		x[last], x[below] = x[below], pivot
		switch {
		case k < below:
			x = x[:below]
		case k > below:
			x, k = x[below+1:], k-below-1
		default:
			return pivot
		}
	}
	return x[0]
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
