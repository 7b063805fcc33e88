package position

import (
	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
)

// Offset is where one seating sits relative to the fixture's marked position.
type Offset struct {
	ID      string           `json:"id"`
	Subject string           `json:"subject"`
	Seating int              `json:"seating"`
	Survey  bool             `json:"survey"` // a deliberate displacement: listed as a check only
	Ears    [2]seat.Estimate `json:"ears"`
	Headset seat.Estimate    `json:"headset"` // both ears together
	Leak    [2]seal.Leak     `json:"leak"`
	GainDB  [2]float64       `json:"gain_db"`
	// MisfitP is the tail probability of the residual under the model: small
	// means that this seating is not explained by a movement.
	MisfitP [2]float64 `json:"misfit_p"`
	// Places lists several places that explain the seating when the sound (and
	// its readings) cannot tell between them, the most probable first; nil
	// otherwise. Headset is then their mean, with a covariance that spans them.
	Places []placing.Place `json:"places,omitempty"`
	// Quarrel reports that the sound and the position read lie apart beyond
	// chance: neither is trusted, and the estimates span both.
	Quarrel bool `json:"quarrel,omitempty"`
}

// OnFixture reports whether the seating was on the fixture, not on a listener.
func (o Offset) OnFixture() bool { return o.Subject == capture.FixtureSubject }

// Worn reports whether a listener wore the headphone as usual.
func (o Offset) Worn() bool { return !o.OnFixture() && !o.Survey }
