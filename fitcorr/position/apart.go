package position

import (
	"asworn/fitcorr/placing"
)

// Apart puts how far apart the cups of a seating usually lie, mm, in the place of the prior's say.
func (f *FixtureSeating) Apart(mm float64) {
	f.Posterior = f.Posterior.Apart(mm, placing.FixturePrior())
	f.estimate()
}

// CupsApart learns from a model's ordinary seatings on the fixture, at the points where it
// was surveyed, how far apart their cups lie, and places each with what all show.
// Survey rows stay as their levels have them, which the survey is judged by.
func CupsApart(points ...*Model) {
	var ps []placing.Posterior
	var at []*FixtureSeating
	for _, m := range points {
		for i, s := range m.Seatings {
			if s.OrdinaryOnFixture() && m.Placed[i].Cov != nil {
				ps, at = append(ps, m.Placed[i].Posterior), append(at, &m.Placed[i])
			}
		}
	}
	mm := placing.LearnApart(ps, placing.FixturePrior())
	for _, f := range at {
		f.Apart(mm)
	}
	for _, m := range points {
		m.ApartMM = mm
	}
}
