package simulate_test

import (
	"context"
	"fmt"

	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
)

// A study as the estimators see it, beside its truth.
func Example() {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.Closed, d.Open, d.SurveySize = 2, 2, 1, 0, 0
	study := simulate.Draw(1, d, piston.World)
	seatings, err := study.Seatings(context.Background(), 1, 2)
	if err != nil {
		panic(err)
	}
	at := study.Rows[0].Headset()
	fmt.Println(len(seatings), "recordings; the first is", seatings[0].ID)
	fmt.Printf("its headset sits %.1f mm forward and %.1f mm up of the mark\n", at[0], at[1])
	// Output:
	// 19 recordings; the first is recordings/l01_model-a_001_blocked.wav
	// its headset sits 3.3 mm forward and -0.9 mm up of the mark
}
