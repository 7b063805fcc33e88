package simulate

import (
	"fmt"
	"math"

	"asworn/capture"
)

// Numbers of the placements at the drum, where they are not those at the
// blocked entrance: a plug at the entrance shuts the canal, so that the
// headphone comes off between the two.
const (
	firstDrumSeating = 21
	firstDrumSurvey  = 200
)

// FixtureIndex is the place of an ordinary fixture seating in the design's plans.
func FixtureIndex(r Row) int {
	if r.Number >= firstDrumSeating {
		return r.Number - firstDrumSeating
	}
	return r.Number - 1
}

// surveyPlan lists displacements in the order in which a smaller survey takes them.
var surveyPlan = []capture.Displacement{
	{}, {ForwardMM: 8}, {ForwardMM: -8}, {UpMM: 8}, {UpMM: -8}, {RotationDeg: 10}, {RotationDeg: -10},
	{ForwardMM: 4}, {ForwardMM: -4}, {UpMM: 4}, {UpMM: -4}, {}, {RotationDeg: 5},
	{ForwardMM: 5, UpMM: 5}, {ForwardMM: -5, UpMM: -5, RotationDeg: 5},
	{ForwardMM: 5, UpMM: -5}, {RotationDeg: -5}, {ForwardMM: -5, UpMM: 5}, {}, {ForwardMM: 2, UpMM: -2},
	{ForwardMM: 8, UpMM: 8}, {ForwardMM: -8, UpMM: 8}, {ForwardMM: 8, UpMM: -8}, {ForwardMM: -8, UpMM: -8}, {},
}

// drawFixture places the ordinary fixture seatings, each heard at both points.
func (s *Study) drawFixture(r *drawer, m int, mean [3]float64) {
	d := s.Design
	n := d.FixtureSeatings
	if d.Apart {
		n = d.BlockedSeatings
	}
	for k := range n {
		row := s.fixtureRow(r, m, capture.Blocked, k+1, r.fixtureAt(k, mean), d.FixtureLeak && !d.Apart && k == n-1)
		s.Rows = append(s.Rows, row)
		if !d.Apart {
			row.Point = capture.Drum
			s.Rows = append(s.Rows, row)
		}
	}
}

// fixtureAt is where fixture seating k of a model is placed.
func (r *drawer) fixtureAt(k int, mean [3]float64) [3]float64 {
	at := [3]float64{r.normal(2.5), r.normal(2.5), r.normal(2.5)}
	if far := r.d.FixtureOffsetsMM; k < len(far) {
		phi := 2 * math.Pi * r.Float64()
		at = [3]float64{mean[0] + far[k]*math.Cos(phi), mean[1] + far[k]*math.Sin(phi), mean[2] + r.normal(1)}
	}
	return at
}

// fixtureRow is one fixture seating. The two cups differ by equal and opposite
// amounts, so that the headset is exactly where it was asked.
func (s *Study) fixtureRow(r *drawer, m int, point capture.Point, number int, at [3]float64, leak bool) Row {
	row := s.row(m, s.Design.Listeners, capture.FixtureSubject, point, number)
	apart := [2]float64{r.normal(0.3), r.normal(0.3)}
	if k := FixtureIndex(row); k < len(s.Design.FixtureYawMM) {
		apart[0] += s.Design.FixtureYawMM[k]
	}
	for e := range row.True {
		p := r.around(at, false)
		p.ForwardMM += apart[0]
		p.UpMM += apart[1]
		apart[0], apart[1] = -apart[0], -apart[1]
		height := 0.35 + 0.15*r.Float64()
		if leak && !s.Open[m] {
			p.SlitMM = height
		}
		row.True[e] = p
	}
	return row
}

// drawSurvey displaces the headphone on the fixture about a mark. What the sheet
// says is what the operator meant; the truth has the error of the ruler.
func (s *Study) drawSurvey(r *drawer, m int, point capture.Point, first int, mark [3]float64) {
	d := s.Design
	leaks := d.SurveyLeaks
	if s.Open[m] || d.SurveySize == 0 {
		leaks = 0
	}
	list := d.Displacements
	if list == nil {
		list = surveyPlan
	}
	for k := range d.SurveySize + leaks {
		meant := capture.Displacement{}
		if k < d.SurveySize {
			meant = list[k%len(list)]
		}
		row := s.row(m, d.Listeners, capture.FixtureSubject, point, first+k)
		row.Survey = &meant
		at := meant.Vector()
		for a := range at {
			at[a] += mark[a]
		}
		at[0] += r.ruler(d.RulerSD)
		at[1] += r.ruler(d.RulerSD)
		at[2] += r.ruler(1.5 * d.RulerSD)
		for e := range row.True {
			p := r.around(at, false)
			p.ForwardMM += r.normal(0.5 * d.RulerSD)
			p.UpMM += r.normal(0.5 * d.RulerSD)
			if k >= d.SurveySize {
				p.SlitMM = 0.25 + 0.1*float64(k-d.SurveySize)
				row.Seal = fmt.Sprintf("shim %.2g mm", p.SlitMM)
			}
			row.True[e] = p
		}
		s.Rows = append(s.Rows, row)
	}
}
