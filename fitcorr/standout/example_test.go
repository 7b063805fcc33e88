package standout_test

import (
	"fmt"

	"asworn/fitcorr/standout"
)

// Six seatings of two headphones in four columns; the fifth of the first lost its
// low end.
func ExampleTest() {
	levels := [][][]float64{
		{
			{0.2, 0.1, 0.3, -0.1},
			{-0.3, -0.2, 0.1, 0.2},
			{0.1, 0.0, -0.2, 0.1},
			{-0.1, 0.2, 0.0, -0.2},
			{-9.0, -6.5, -2.0, 0.1},
			{0.3, -0.1, -0.1, 0.0},
		}, {
			{0.1, 0.3, 0.0, 0.1},
			{0.2, -0.1, 0.2, -0.3},
			{-0.2, 0.1, -0.1, 0.2},
			{-0.1, -0.3, 0.1, 0.1},
			{0.3, 0.0, -0.2, 0.0},
			{-0.3, 0.1, 0.1, -0.1},
		},
	}
	for g, members := range standout.Test(levels, []float64{0, 0}, 0.05) {
		for i, m := range members {
			if m.Flagged {
				fmt.Printf("group %d, seating %d: first column %.1f dB\n", g+1, i+1, m.Delta[0])
			}
		}
	}
	// Output:
	// group 1, seating 5: first column -9.0 dB
}
