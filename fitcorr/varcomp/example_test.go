package varcomp_test

import (
	"fmt"

	"asworn/fitcorr/varcomp"
)

func Example() {
	// Level in one band, three seatings of four listeners, in dB.
	listener := []string{"L01", "L01", "L01", "L02", "L02", "L02", "L03", "L03", "L03", "L04", "L04", "L04"}
	level := []float64{0.1, 0.9, -0.4, 2.3, 1.8, 3.0, -1.9, -1.1, -2.2, 0.8, 1.4, 0.3}
	design, err := varcomp.Nested(listener)
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := design.Fit(level)
	if err != nil {
		fmt.Println(err)
		return
	}
	for l, name := range []string{"between listeners", "between seatings"} {
		lo, hi := fit.Interval(l, 0.95)
		fmt.Printf("%s: %.2f dB (%.2f to %.2f)\n", name, fit.SD(l), lo, hi)
	}
	fmt.Printf("mean %.2f ± %.2f dB\n", fit.Mean, fit.MeanSE)
	// Output:
	// between listeners: 1.66 dB (0.83 to 5.00)
	// between seatings: 0.60 dB (0.39 to 1.07)
	// mean 0.42 ± 0.85 dB
}
