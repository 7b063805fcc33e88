package simulate

import (
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/study"
)

// readStepMM is how finely a person writes down what a ruler says.
const readStepMM = 0.5

// drawReadings lets operators read every headphone's position off the head: the
// true place of the headset, from the model's own point of the cup, which a turn
// of the headband moves, by the landmark as it was found on that head, with what
// is common to the reader, and the error of the one reading.
// It comes after everything else, from a stream of its own, so that the rest
// of the study stays as it is. Both points of a fixture seating that are one
// placement share its readings; a bare ear has none. One reading each by one person
// stands in the rows, more of them in Readings, and so do several findings of the fixture's
// entrance, whose errors come from a stream of their own.
func (s *Study) drawReadings(src, findings *rand.Rand) {
	o := s.drawOperators(src, findings)
	d := s.Design
	for i := range s.Rows {
		row := &s.Rows[i]
		switch {
		case row.ModelIndex < 0:
			continue
		case row.Point == capture.Drum && !d.Apart: // follows the blocked row of its placement
			row.Read = s.Rows[i-1].Read
			continue
		}
		if d.ReadingsEach == 1 && len(o.readers) == 1 {
			v := o.read(row, row.Headset(), 0)
			row.Read = &capture.Reading{ForwardMM: v[0], UpMM: v[1]}
			continue
		}
		for k := range d.ReadingsEach {
			side, at := study.BothSides, row.Headset()
			if d.ReadingsEach > 1 {
				side = study.LeftSide + study.Side(k%2)
				at = row.True[k%2].Vector()
			}
			reader := o.readerOf(row, k/2)
			v := o.read(row, at, reader)
			s.Readings = append(s.Readings, study.ReadingRow{
				Row: len(s.Readings) + 2, Subject: row.Subject, Model: row.Model, Number: row.Number, Side: side,
				ForwardMM: v[0], UpMM: v[1], Reader: readerName(reader),
			})
		}
	}
}

// operators are those who read positions, and the errors that their readings share, mm forward and up.
type operators struct {
	*drawer
	heads   [][2]float64 // per head, the fixture's last: landmark found minus true
	points  [][2]float64 // per model: the point of the cup that is read, from its middle
	readers [][2]float64 // bias of each
}

func (s *Study) drawOperators(src, findings *rand.Rand) operators {
	d := s.Design
	r := &drawer{Rand: src, d: d}
	o := operators{r, make([][2]float64, d.Listeners+1), make([][2]float64, len(s.Models)), make([][2]float64, max(d.Readers, 1))}
	for i := range o.heads {
		sd := d.LandmarkSD
		if i == d.Listeners {
			sd = d.FixtureLandmarkSD
		}
		o.heads[i] = [2]float64{r.landmark(sd), r.landmark(sd)}
	}
	if d.FixtureFindings > 1 {
		o.heads[d.Listeners] = s.findFixture(&drawer{Rand: findings, d: d}, o.heads[d.Listeners])
	}
	for m := range o.points {
		phi, far := 2*math.Pi*r.Float64(), d.ReadPointMM*(1+r.normal(0.2))
		o.points[m] = [2]float64{far * math.Cos(phi), far * math.Sin(phi)}
	}
	if d.ReaderSD > 0 {
		for i := range o.readers {
			o.readers[i] = [2]float64{r.normal(d.ReaderSD), r.normal(d.ReaderSD)}
		}
	}
	return o
}

// readerOf is who takes reading k of a row: the fixture is the first reader's.
func (o operators) readerOf(row *Row, k int) int {
	if row.OnFixture() && !o.d.AllReadAll {
		return 0
	}
	return (row.SubjectIndex + row.Number + k) % len(o.readers)
}

// read is one reading of a row's headphone at a position (forward and up in mm, turn in degrees), as it is written down.
func (o operators) read(row *Row, at [3]float64, reader int) (out [2]float64) {
	point := turned(o.points[row.ModelIndex], at[2])
	for a := range out {
		out[a] = at[a] + point[a] - o.heads[row.SubjectIndex][a] + o.readers[reader][a] + o.reading(o.d.ReadSD)
	}
	if o.d.SlipChance > 0 && o.Float64() < o.d.SlipChance {
		out = o.slip(out)
	}
	for a, v := range out {
		out[a] = readStepMM * math.Round(v/readStepMM)
	}
	return out
}

// findFixture writes down several findings of the entrance of the fixture's canals, from where it
// truly is, and returns their mean. common is an error of one finding that they share in part.
func (s *Study) findFixture(r *drawer, common [2]float64) (mean [2]float64) {
	d := s.Design
	for range d.FixtureFindings {
		var at [2]float64
		for a := range at {
			at[a] = math.Sqrt(d.FindingsAlike)*common[a] + math.Sqrt(1-d.FindingsAlike)*r.landmark(d.FixtureLandmarkSD)
			mean[a] += at[a] / float64(d.FixtureFindings)
		}
		s.Readings = append(s.Readings, study.ReadingRow{Row: len(s.Readings) + 2, Subject: capture.FixtureSubject, ForwardMM: at[0], UpMM: at[1]})
	}
	return mean
}

// readerName is what readings.csv calls a reader.
func readerName(i int) string { return "R" + string(rune('1'+i)) }

// slip is a reading as it is written down by mistake.
func (r *drawer) slip(read [2]float64) [2]float64 {
	a := r.IntN(2)
	switch r.IntN(3) {
	case 0:
		return [2]float64{read[1], read[0]}
	case 1:
		read[a] = -read[a]
	default:
		read[a] += 10 * float64(1-2*r.IntN(2))
	}
	return read
}

// turned is where a point of the cup lies, forward and up of its middle, once
// the headband's top is turned toward the nose by so many degrees.
func turned(p [2]float64, deg float64) [2]float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return [2]float64{p[0]*cos + p[1]*sin, p[1]*cos - p[0]*sin}
}
