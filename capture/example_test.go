package capture_test

import (
	"fmt"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// A recording of a designed sweep becomes a response per ear. Here the "ears"
// are a copy of the sweep and one at half its amplitude, 0.1 s late.
func ExampleProcessor() {
	d := sweep.Default()
	p, err := capture.NewProcessor(study.Setup{Sweep: d, Left: 1, Right: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	left := append(make([]float64, 4800), d.Signal()...)
	right := make([]float64, len(left))
	for i, v := range left {
		right[i] = v / 2
	}
	rec, err := p.ProcessSamples([][]float64{left, right}, d.RateHz)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(rec.Used, "repeats;", rec.LevelUnit)
	for i, b := range band.All() {
		if b.Lower < 1000.1 && b.Upper > 1000.1 {
			fmt.Printf("%.0f Hz: left %.2f dB, right %.2f dB\n", b.Mid, rec.Ears[study.Left].LevelDB[i], rec.Ears[study.Right].LevelDB[i])
		}
	}
	// Output:
	// 2 repeats; dB, relative
	// 1014 Hz: left 0.00 dB, right -6.02 dB
}
