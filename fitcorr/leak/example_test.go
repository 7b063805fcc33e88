package leak_test

import (
	"fmt"
	"math"
	"math/cmplx"

	"asworn/fitcorr/leak"
)

// Four seatings of one ear, of which one leaks; levels are made up from the
// circuit, with a different microphone gain each time.
func ExampleFit() {
	var freq []float64
	for k := range 35 {
		freq = append(freq, 18.3*math.Pow(2, float64(k)/6))
	}
	lost := leak.Params{CornerHz: 90, Damping: 1.2}
	var curves []leak.Curve
	for i := range 4 {
		c := leak.Curve{LevelDB: make([]float64, len(freq)), VarDB: make([]float64, len(freq))}
		for k, f := range freq {
			c.LevelDB[k] = 94 + 0.5*float64(i) + 0.05*math.Sin(float64(3*i)+f/40)
			if i == 2 {
				c.LevelDB[k] += 20 * math.Log10(cmplx.Abs(lost.Response(f)))
			}
			c.VarDB[k] = 0.01
		}
		curves = append(curves, c)
	}
	res, err := leak.Fit(freq, curves)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, e := range res.Curves {
		loss, _ := e.LossDB(50)
		fmt.Printf("seating %d: leaks %v, %.0f dB lost at 50 Hz\n", i+1, e.Leaking, math.Abs(loss))
	}
	// Output:
	// seating 1: leaks false, 0 dB lost at 50 Hz
	// seating 2: leaks false, 0 dB lost at 50 Hz
	// seating 3: leaks true, 2 dB lost at 50 Hz
	// seating 4: leaks false, 0 dB lost at 50 Hz
}
