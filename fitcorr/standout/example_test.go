package standout_test

import (
	"fmt"

	"asworn/fitcorr/standout"
)

// Six seatings in four bands; the fifth lost its low end.
func ExampleTest() {
	levels := [][]float64{
		{0.2, 0.1, 0.3, -0.1},
		{-0.3, -0.2, 0.1, 0.2},
		{0.1, 0.0, -0.2, 0.1},
		{-0.1, 0.2, 0.0, -0.2},
		{-9.0, -6.5, -2.0, 0.1},
		{0.3, -0.1, -0.1, 0.0},
	}
	for i, m := range standout.Test(levels, 0, 0.05) {
		if m.Flagged {
			fmt.Printf("seating %d: %.0f times the scatter, first band %.1f dB\n", i+1, m.Distance, m.Delta[0])
		}
	}
	// Output:
	// seating 5: 27 times the scatter, first band -9.0 dB
}
