package simulate

import "asworn/capture"

// drawApart adds what the fixture's own ear simulator records: ordinary
// seatings, and a survey about the same mark, found again with an error.
func (s *Study) drawApart(r *drawer) {
	d := s.Design
	for m := range s.Models {
		s.Mark[m] = [3]float64{r.normal(d.MarkSD), r.normal(d.MarkSD), r.normal(1.5 * d.MarkSD)}
		for k := range d.FixtureSeatings {
			leak := d.FixtureLeak && k == d.FixtureSeatings-1
			at := r.fixtureAt(k, s.Target(m))
			s.Rows = append(s.Rows, s.fixtureRow(r, m, capture.Drum, firstDrumSeating+k, at, leak))
		}
		s.drawSurvey(r, m, capture.Drum, firstDrumSurvey, s.Mark[m])
	}
}
