package position

import (
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
)

// BenchmarkNewModel surveys one model and places its 27 fixture seatings.
func BenchmarkNewModel(b *testing.B) {
	bench := toy.NearEven(1, 1)
	for b.Loop() {
		if _, err := NewModel("Model E", capture.Blocked, bench.Seatings, nil); err != nil {
			b.Fatal(err)
		}
	}
}
