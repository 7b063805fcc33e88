package seat

import (
	"asworn/capture"
)

// EarName is "left" for 0 and "right" for 1. Any other number is "right" too.
func EarName(ear int) string { return capture.Ear(ear).String() }

// Seating is one usable recording as the estimators see it.
type Seating struct {
	ID      string                `json:"id"` // unique and stable
	Model   string                `json:"model,omitempty"`
	Unit    string                `json:"unit,omitempty"`
	Subject string                `json:"subject"`
	Point   capture.Point         `json:"point"`
	Number  int                   `json:"seating"`
	Survey  *capture.Displacement `json:"survey,omitempty"`
	Read    *capture.Reading      `json:"read,omitempty"`
	// ReadWorth is how many single readings Read is worth: its variance is that of
	// one over this; 0 stands for one.
	ReadWorth float64 `json:"read_worth,omitempty"`
	// ReadApart is half of what the left cup was read to sit before and above the right one,
	// nil unless both were read by themselves; its variance is that of a single reading over
	// ReadApartWorth.
	ReadApart      *capture.Reading `json:"read_apart,omitempty"`
	ReadApartWorth float64          `json:"read_apart_worth,omitempty"`
	// Loudspeaker names the loudspeaker's place on a bare-ear reference.
	Loudspeaker string   `json:"loudspeaker,omitempty"`
	Seal        string   `json:"seal,omitempty"`
	Ears        [2]Curve `json:"-"`
}

// Readings is how many single readings the read position is worth, 0 without one.
func (s Seating) Readings() float64 {
	switch {
	case s.Read == nil:
		return 0
	case s.ReadWorth > 0:
		return s.ReadWorth
	}
	return 1
}

// OnFixture reports whether the seating was on the fixture, not on a listener.
func (s Seating) OnFixture() bool { return s.Subject == capture.FixtureSubject }

// Displaced reports whether the headphone was displaced on purpose: on the
// fixture the row of a position survey, on a listener a displaced wearing.
func (s Seating) Displaced() bool { return s.Survey != nil }

// Worn reports whether a listener wore the headphone as usual.
func (s Seating) Worn() bool { return !s.OnFixture() && !s.Displaced() }

// OrdinaryOnFixture reports whether a headphone sat on the fixture and was not
// displaced on purpose.
func (s Seating) OrdinaryOnFixture() bool {
	return s.OnFixture() && !s.Displaced() && s.Model != ""
}
