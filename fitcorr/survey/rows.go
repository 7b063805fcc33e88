package survey

import (
	"asworn/capture"
	"asworn/fitcorr/seat"
)

// FewestRows is the least number of rows that can hold a level, two slopes
// and a residual.
const FewestRows = 5

// Rows are the rows that say how the response at one point moves: deliberate
// displacements without a deliberate leak on the fixture.
func Rows(ss []seat.Seating, point capture.Point) []seat.Seating {
	var out []seat.Seating
	for _, s := range ss {
		if s.OnFixture() && s.Displaced() && s.Seal == "" && s.Point == point {
			out = append(out, s)
		}
	}
	return out
}

// SameDisplacement groups the numbers of rows of equal displacement, in order of appearance.
func SameDisplacement(at [][3]float64) [][]int {
	index := map[[3]float64]int{}
	var groups [][]int
	for i, d := range at {
		g, ok := index[d]
		if !ok {
			g = len(groups)
			index[d] = g
			groups = append(groups, nil)
		}
		groups[g] = append(groups[g], i)
	}
	return groups
}

func countDistinct(at [][3]float64) int { return len(SameDisplacement(at)) }
