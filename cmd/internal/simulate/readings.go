package simulate

import (
	"math"
	"math/rand/v2"

	"asworn/capture"
)

// readStepMM is how finely a person writes down what a ruler says.
const readStepMM = 0.5

// drawReadings lets an operator read every headphone's position off the head:
// the true place of the headset, from the model's own point of the cup, which a
// turn of the headband moves, by the landmark as it was found on that head, with
// the error of the one reading.
// It comes after everything else, from a stream of its own, so that the rest
// of the study stays as it is. Both points of a fixture seating are one
// placement and share its reading; a bare ear has none.
func (s *Study) drawReadings(src *rand.Rand) {
	d := s.Design
	r := &drawer{Rand: src, d: d}
	heads := make([][2]float64, d.Listeners+1) // landmark found minus true, the fixture last
	for i := range heads {
		sd := d.LandmarkSD
		if i == d.Listeners {
			sd = d.FixtureLandmarkSD
		}
		heads[i] = [2]float64{r.normal(sd), r.normal(sd)}
	}
	points := make([][2]float64, len(s.Models))
	for m := range points {
		phi, far := 2*math.Pi*r.Float64(), d.ReadPointMM*(1+r.normal(0.2))
		points[m] = [2]float64{far * math.Cos(phi), far * math.Sin(phi)}
	}
	for i := range s.Rows {
		row := &s.Rows[i]
		switch {
		case row.ModelIndex < 0:
			continue
		case row.Point == capture.Drum: // follows the blocked row of its placement
			row.Read = s.Rows[i-1].Read
			continue
		}
		at, landmark := row.Headset(), heads[row.SubjectIndex]
		point := turned(points[row.ModelIndex], at[2])
		var read [2]float64
		for a := range read {
			read[a] = at[a] + point[a] - landmark[a] + r.normal(d.ReadSD)
			read[a] = readStepMM * math.Round(read[a]/readStepMM)
		}
		row.Read = &capture.Reading{ForwardMM: read[0], UpMM: read[1]}
	}
}

// turned is where a point of the cup lies, forward and up of its middle, once
// the headband's top is turned toward the nose by so many degrees.
func turned(p [2]float64, deg float64) [2]float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return [2]float64{p[0]*cos + p[1]*sin, p[1]*cos - p[0]*sin}
}
