package report

import "asworn/fitcorr/between"

// Fixtures is what the fixtures of one study say of the same headphones.
type Fixtures struct {
	Title      string         `json:"title"`
	Confidence float64        `json:"confidence"`
	ThirdsHz   []float64      `json:"thirds_hz"`
	Models     []FixtureModel `json:"models"`
}

// FixtureModel is one headphone model on all fixtures.
type FixtureModel struct {
	Model       string               `json:"model"`
	Differences []between.Difference `json:"differences"` // pairs of fixtures, points and ears
	People      []between.FromPeople `json:"people"`
}
