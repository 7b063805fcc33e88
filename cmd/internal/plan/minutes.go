package plan

import (
	"slices"
	"time"

	"asworn/capture"
	"asworn/capture/order"
)

// Minutes is how long a study takes.
type Minutes struct {
	Person  float64 // of one listener, all models
	Model   float64 // of which for one model
	Fixture float64 // at the fixture, all models
}

// What a session takes besides the sound, minutes (common practice, no source).
const (
	fitMicrophones = 10.0 // cautions, questions, microphones in and out, per listener
	placeOne       = 1.0  // headphone on, still, off again
	setOne         = 1.5  // the same by a ruler or stops
	bareEarSetup   = 3.0
	readOne        = 0.5 // one reading
	findOne        = 0.5 // the canal entrance of the fixture once more
)

// RowMinutes is how long one row takes whose recording sounds for so many minutes:
// the headphone put on, or displaced by a ruler or stops, still, off again; or the
// loudspeaker set up.
func RowMinutes(r capture.Seating, sounds float64) float64 {
	switch {
	case r.BareEar():
		return sounds + bareEarSetup
	case r.Displaced():
		return sounds + setOne
	}
	return sounds + placeOne
}

// Pace is how fast the rows of a session are recorded.
type Pace struct {
	fitted []string  // listeners of whom the session has a take
	took   time.Time // the last take; zero before the first
	shares []float64 // times from one take to the next, of those planned
}

// Took takes down that a row was recorded at a time; sounds is how long one recording sounds, minutes.
func (p *Pace) Took(row capture.Seating, sounds float64, at time.Time) {
	if !p.took.IsZero() {
		p.shares = append(p.shares, at.Sub(p.took).Minutes()/sessionMinutes([]capture.Seating{row}, sounds, p.fitted))
	}
	p.took = at
	if !row.OnFixture() {
		p.fitted = append(p.fitted, row.Subject)
	}
}

// Minutes is how long rows take: as planned, until the session knows the operator's pace.
func (p *Pace) Minutes(rows []capture.Seating, sounds float64) float64 {
	planned := sessionMinutes(rows, sounds, p.fitted)
	if len(p.shares) > 2 {
		return order.Median(slices.Clone(p.shares)) * planned
	}
	return planned
}

// sessionMinutes is how long rows take that a session has left: each of them, and what
// comes before the first of every listener who has not been fitted with microphones yet.
func sessionMinutes(rows []capture.Seating, sounds float64, fitted []string) (sum float64) {
	for _, r := range rows {
		sum += RowMinutes(r, sounds)
		if !r.OnFixture() && !slices.Contains(fitted, r.Subject) {
			sum += fitMicrophones
			fitted = append(slices.Clip(fitted), r.Subject)
		}
	}
	return sum
}

// Minutes adds up a design's sessions; perRow is how long one recording sounds, minutes.
func (d Design) Minutes(perRow float64) Minutes {
	read := readOne * float64(d.Readings)
	rows := float64(d.Seatings)
	if d.Displaced > 0 { // the longest session
		rows += float64(len(OnListener()))
	}
	m := Minutes{Model: rows * (perRow + placeOne + read)}
	bare := 0.0
	if d.BareEar {
		bare = bareEarSetup + perRow
	}
	models := float64(len(d.Models))
	m.Person = fitMicrophones + bare + models*m.Model
	points := 1.0
	if d.Drum {
		points = 2
	}
	seatings := float64(d.Fixture) * points * (perRow + placeOne + read)
	survey := float64(d.SurveyRows()) * points * (perRow + setOne + read)
	if d.OnePlacement && d.Drum { // one placement serves both points
		seatings -= float64(d.Fixture) * (placeOne + read)
		survey -= survey / 2 * (setOne + read) / (perRow + setOne + read)
	}
	m.Fixture = bare + models*(seatings+survey)
	if d.Readings > 0 {
		m.Fixture += FixtureFindings * findOne
	}
	return m
}
