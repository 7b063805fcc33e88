package samples

import "math"

// HeldRun returns the first place where the signal stays exactly as it is
// although it moves on both sides, and for how many samples; 0 when there is
// none. A run at the signal's own peak is a clipped one.
func HeldRun(x []float64, from, to int, peak float64) (at, n int) {
	// Every run of heldLeast holds one of these pairs.
	for pair := from + heldLeast - 1; pair < to; pair += heldLeast - 1 {
		if x[pair] != x[pair-1] {
			continue
		}
		i := pair
		for i-1 > from && x[i-2] == x[i] {
			i--
		}
		j := pair
		for j+1 < to && x[j+1] == x[i] {
			j++
		}
		length := j - i + 2
		first := i - 1
		pair = j + 1 // the next run begins behind this one
		if length < heldLeast || math.Abs(x[first]) > 0.98*peak || first-length < from || j+1+length >= to {
			continue
		}
		// The least step beside the run is the resolution of the recording.
		var before, after, least float64
		least = math.Inf(1)
		for k := 1; k <= length; k++ {
			b, a := math.Abs(x[first-k+1]-x[first-k]), math.Abs(x[j+k]-x[j+k-1])
			before, after = before+b, after+a
			for _, v := range [2]float64{a, b} {
				if v > 0 {
					least = min(least, v)
				}
			}
		}
		least = max(least, 1.0/(1<<23))
		// A slow signal may rest on one step of the converter; it leaves by one.
		edge := max(math.Abs(x[first]-x[first-1]), math.Abs(x[j+1]-x[j]))
		if edge > 1.5*least && min(before, after) > heldMoves*least && max(before, after) > lapseSize*peak {
			return first, length
		}
	}
	return 0, 0
}

// Limits of a run of equal samples. Common practice, no source.
const (
	heldLeast = 6    // equal samples in a row that can be a dropout
	heldMoves = 24.0 // how far the signal would have moved meanwhile, in least steps
)
