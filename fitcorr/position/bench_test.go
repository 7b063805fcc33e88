package position

import (
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
)

// BenchmarkNewModel surveys one model and places its 27 fixture seatings.
func BenchmarkNewModel(b *testing.B) {
	bench := toy.NearEven(1, 1)
	for b.Loop() {
		if _, err := newModel("Model E", capture.Blocked, bench.Seatings); err != nil {
			b.Fatal(err)
		}
	}
}

// newModel surveys a model from its seatings at one point and places those on
// the fixture. It fails when neither ear
// has a usable survey.
func newModel(name string, point capture.Point, seatings []seat.Seating) (*Model, error) {
	l, err := Learn(name, point, seatings)
	if err != nil {
		return nil, err
	}
	return l.Place(point, seatings), nil
}
