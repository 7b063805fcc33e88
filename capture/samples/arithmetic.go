// Package samples tells from the samples of one channel alone what is wrong with
// them: clipped and flat tops, peaks between samples, breaks, runs of equal
// samples, mains hum. It knows neither channels nor recordings.
package samples

import (
	"math"
	"slices"
)

// Swing is the largest value plus the smallest, over the largest less the smallest. It is
// a ratio, −1 to 1 for signals that swing about 0, and 0 where all values are the same. x
// must hold a sample.
func Swing(x []float64) float64 {
	high, low := slices.Max(x), slices.Min(x)
	if high-low == 0 {
		return 0
	}
	return (high + low) / (high - low)
}

// Correlation returns the largest positive and the largest negative normalised
// correlation of two signals over lags of up to so many samples. Both are 0 where either
// signal is silent or empty.
func Correlation(a, b []float64, lags int) (up, down float64) {
	var aa, bb float64
	for _, v := range a {
		aa += v * v
	}
	for _, v := range b {
		bb += v * v
	}
	if aa == 0 || bb == 0 {
		return 0, 0
	}
	for lag := -lags; lag <= lags; lag++ {
		sum := 0.0
		for i, v := range a {
			if j := i + lag; j >= 0 && j < len(b) {
				sum += v * b[j]
			}
		}
		sum /= math.Sqrt(aa * bb)
		up, down = max(up, sum), max(down, -sum)
	}
	return up, down
}

// Sum adds up in four parts, which do not wait for each other. The sum of samples has
// their unit; of none it is 0.
func Sum(x []float64) float64 {
	var a, b, c, d float64
	for ; len(x) >= 4; x = x[4:] {
		a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
	}
	for _, v := range x {
		a += v
	}
	return a + b + (c + d)
}

// Decimate appends every factor-th sample of x, smoothed by a triangle of
// twice that length, to dst[:0].
func Decimate(dst, x []float64, factor int) []float64 {
	dst = dst[:0]
	if factor == 1 {
		return append(dst, x...)
	}
	dst = slices.Grow(dst, len(x)/factor+1)
	f := float64(factor)
	slope := make([]float64, factor)
	for i := range slope {
		slope[i] = float64(i) / f
	}
	// Output m is centred on sample m·factor; each block of inputs falls with
	// one slope into the output before it and with the other into the next.
	carry := 0.0
	for start := 0; start < len(x); start += factor {
		var down, up float64
		block := x[start:min(start+factor, len(x))]
		for i, t := range slope[:len(block)] {
			v := block[i]
			down += v * (1 - t)
			up += v * t
		}
		dst = append(dst, (carry+down)/f)
		carry = up
	}
	return dst
}

// PeakOffset returns where the parabola through three equidistant values has its top,
// relative to the middle one, within ±0.5. It is in steps of the values, 0 where they
// have no top.
func PeakOffset(a, b, c float64) float64 {
	den := a - 2*b + c
	if den >= 0 {
		return 0
	}
	return max(-0.5, min(0.5, 0.5*(a-c)/den))
}
