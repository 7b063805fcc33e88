package panel

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// Half of what the cups are read apart, of the panel against the survey's rows, with its
// variance in closed form; rows that do not say it are left out.
func TestReadApart(t *testing.T) {
	u := capture.ReadingUncertainty{OneMM: 1, LandmarkMM: 0.7, FixtureLandmarkMM: 0.5}
	row := func(who string, survey *capture.Displacement, forward, worth float64) seat.Seating {
		return seat.Seating{Subject: who, Survey: survey, Read: &capture.Reading{}, ReadApart: &capture.Reading{ForwardMM: forward, UpMM: -forward}, ReadApartWorth: worth}
	}
	moved, turned := &capture.Displacement{ForwardMM: 4}, &capture.Displacement{RotationDeg: 5}
	su := &position.Model{Seatings: []seat.Seating{
		row("fixture", moved, 0.1, 4), row("fixture", moved, 0.3, 4), row("fixture", moved, 0.2, 4),
		row("fixture", turned, 9, 4), row("fixture", nil, 9, 4), row("L01", moved, 9, 4), // none of these count
		row("L01", nil, 1, 2), row("L01", nil, 1.4, 2), row("L02", nil, 0.9, 2),
		{Subject: "L02"}, // not read
	}}
	slip := row("L01", nil, 30, 2)
	slip.Read = nil // was taken off
	su.Seatings = append(su.Seatings, slip)
	at, variance, ok := readApart(su, u)
	want := 1.0/2/3 + 1.0/4/3 + 0.5*(0.25+0.49*(4+1)/9)
	for a, sign := range [placing.ReadDim]float64{1, -1} {
		if !ok || math.Abs(at[a]-sign*0.9) > 1e-12 || math.Abs(variance[a]-want) > 1e-12 {
			t.Errorf("axis %d: %g mm, variance %g mm², %v; want %g and %g", a, at[a], variance[a], ok, sign*0.9, want)
		}
	}
	if _, _, ok := readApart(&position.Model{Seatings: su.Seatings[2:]}, u); ok {
		t.Error("one row of the survey is enough")
	}
}
