package bench

import "slices"

// median returns the middle value, the upper of two; 0 of none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	return s[len(s)/2]
}
