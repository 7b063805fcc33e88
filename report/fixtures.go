package report

import (
	"asworn/fitcorr"
	"asworn/fitcorr/between"
)

// Fixtures is what the fixtures of one study say of the same headphones.
type Fixtures struct {
	Title      string         `json:"title"`
	Confidence float64        `json:"confidence"`
	Names      []string       `json:"names"` // of the fixtures
	ThirdsHz   []float64      `json:"thirds_hz"`
	Models     []FixtureModel `json:"models"`
}

// FixtureModel is one headphone model on all fixtures.
type FixtureModel struct {
	Model       string               `json:"model"`
	Places      []FixturePlace       `json:"places"`
	Differences []between.Difference `json:"differences"` // pairs of fixtures, points and ears
	People      []between.FromPeople `json:"people"`
}

// FixturePlace is where a headphone must sit on a fixture to sit as the panel wears
// it: the worn mean from that fixture's own mark. Marks of two fixtures have nothing
// in common, so places on them are not to be subtracted.
type FixturePlace struct {
	Fixture string           `json:"fixture"`
	Mean    fitcorr.Estimate `json:"mean"`
}
