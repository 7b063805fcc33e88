package study

import (
	"fmt"
	"slices"
	"strings"
)

// Ear names one side of the head. It indexes two-element arrays.
type Ear int

// The two ears, in the order in which every [2]T of asworn holds them.
const (
	Left Ear = iota
	Right
)

// Ears lists both ears in array order.
var Ears = [2]Ear{Left, Right}

// String returns "left" or "right".
func (e Ear) String() string {
	if e == Left {
		return "left"
	}
	return "right"
}

// MarshalText writes an ear as String does.
func (e Ear) MarshalText() ([]byte, error) { return []byte(e.String()), nil }

// UnmarshalText reads what MarshalText writes; anything else is an error.
func (e *Ear) UnmarshalText(b []byte) error {
	for _, ear := range Ears {
		if string(b) == ear.String() {
			*e = ear
			return nil
		}
	}
	return fmt.Errorf("ear %q: want left or right", b)
}

// Point is the place at which a microphone listens.
type Point string

// The two points of a study (Møller, Hammershøi, Jensen and Sørensen, JAES
// 43(4), 1995).
const (
	// Blocked is the blocked entrance of the ear canal.
	Blocked Point = "blocked"
	// Drum is the drum reference point of the fixture's own ear simulator.
	Drum Point = "drum"
)

// Words is the point in the standards' words (IEC 60268-7, ITU-T P.57).
func (p Point) Words() string {
	switch p {
	case Blocked:
		return "blocked ear-canal entrance"
	case Drum:
		return "drum reference point"
	}
	return string(p)
}

// Short is Words where there is little space.
func (p Point) Short() string {
	if p == Blocked {
		return "blocked entrance"
	}
	return p.Words()
}

// FixtureSubject is the reserved name of the fixture in the subject column.
const FixtureSubject = "fixture"

// Displacement is a known movement of a headphone from its marked position.
type Displacement struct {
	ForwardMM   float64 `json:"forward_mm"`   // toward the nose
	UpMM        float64 `json:"up_mm"`        // toward the crown
	RotationDeg float64 `json:"rotation_deg"` // headband's top toward the nose
}

// Vector returns forward (mm), up (mm) and rotation (degrees) in that order.
func (d Displacement) Vector() [3]float64 {
	return [3]float64{d.ForwardMM, d.UpMM, d.RotationDeg}
}

// Reading is where an operator saw the headphone sit, by ruler or by a
// photograph with a scale: how far a fixed point of the cup lies toward the nose
// and toward the crown from the ear canal's entrance, in mm, the mean of both
// sides. Only differences between heads matter, so any point of the cup will do
// as long as it is the same on every head.
type Reading struct {
	ForwardMM float64 `json:"forward_mm"`
	UpMM      float64 `json:"up_mm"`
}

// Holds says what the file of a row holds.
type Holds string

// What a file can hold. The zero value is a recording.
const (
	HoldsRecording Holds = ""
	HoldsImpulse   Holds = "impulse response" // WAV, the channels of study.toml
	HoldsCurve     Holds = "curve"            // text: frequency, level and perhaps phase; see curve.ReadText
)

// Seating is one row of the seating sheet: one recording of one placement.
type Seating struct {
	Row     int    `json:"row"`  // line in seatings.csv, 1-based, the head included
	File    string `json:"file"` // path under the study folder; unique, the key of a seating
	Model   string `json:"model,omitempty"`
	Unit    string `json:"unit,omitempty"`
	Subject string `json:"subject"`
	Point   Point  `json:"point"`
	Number  int    `json:"seating"`
	// Survey is the deliberate displacement, nil when the headphone was placed normally.
	Survey *Displacement `json:"survey,omitempty"`
	// Read is where the headphone was seen to sit, nil when nobody looked.
	Read *Reading `json:"read,omitempty"`
	// Holds is what the file holds: a recording, or a response that another
	// program worked out.
	Holds Holds `json:"holds,omitempty"`
	// Loudspeaker names where the loudspeaker stood on a bare-ear reference, as the
	// sheet does; empty where there is one place only.
	Loudspeaker string `json:"loudspeaker,omitempty"`
	Seal        string `json:"seal,omitempty"`
	Notes       string `json:"notes,omitempty"`
}

// Placement is what no two rows of a sheet share: one recording of one placing of a
// headphone, or of a bare ear, on a head.
type Placement struct {
	Subject, Model, Unit string
	Point                Point
	Number               int
	Loudspeaker          string
	Survey               bool
	Displacement         Displacement // zero unless Survey
}

// Placement is what the row records.
func (s Seating) Placement() Placement {
	p := Placement{Subject: s.Subject, Model: s.Model, Unit: s.Unit, Point: s.Point, Number: s.Number, Loudspeaker: s.Loudspeaker}
	if s.Displaced() {
		p.Survey, p.Displacement = true, *s.Survey
	}
	return p
}

// Anywhere is the placement at whichever point: rows that share it say that the
// headphone was not touched in between.
func (p Placement) Anywhere() Placement {
	p.Point = ""
	return p
}

// OnFixture reports whether the seating was made on the fixture.
func (s Seating) OnFixture() bool { return s.Subject == FixtureSubject }

// BareEar reports whether the recording is the bare-ear reference: a
// loudspeaker in a fixed place and no headphone.
func (s Seating) BareEar() bool { return s.Model == "" && s.Point == Blocked }

// Displaced reports whether the headphone was displaced on purpose: on the
// fixture the row of a position survey, on a listener a displaced wearing.
func (s Seating) Displaced() bool { return s.Survey != nil }

// Worn reports whether a listener wore a headphone as usual.
func (s Seating) Worn() bool { return s.Model != "" && !s.OnFixture() && !s.Displaced() }

// OrdinaryOnFixture reports whether a headphone sat on the fixture and was not
// displaced on purpose.
func (s Seating) OrdinaryOnFixture() bool {
	return s.Model != "" && s.OnFixture() && !s.Displaced()
}

// Files returns the files of a row, one as a rule. A row of curves may name one
// for each ear by alternatives in braces, left before right:
// "curves/l01-{L|R}.txt".
func (s Seating) Files() []string {
	before, rest, ok := strings.Cut(s.File, "{")
	if !ok {
		return []string{s.File}
	}
	inside, after, ok := strings.Cut(rest, "}")
	left, right, both := strings.Cut(inside, "|")
	if !ok || !both {
		return []string{s.File}
	}
	return []string{before + left + after, before + right + after}
}

// Side is the cup of which a reading was taken.
type Side int

// One cup, or one figure for the mean of both.
const (
	BothSides Side = iota
	LeftSide
	RightSide
)

// sideNames are the sides as readings.csv writes them.
var sideNames = [...]string{"", "left", "right"}

// String returns "", "left" or "right".
func (s Side) String() string { return sideNames[s] }

// MarshalText writes a side as String does.
func (s Side) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads what MarshalText writes; anything else is an error.
func (s *Side) UnmarshalText(b []byte) error {
	i := slices.Index(sideNames[:], string(b))
	if i < 0 {
		return fmt.Errorf("side %q: want left, right or nothing", b)
	}
	*s = Side(i)
	return nil
}

// ReadingRow is one row of readings.csv: one reading of one placement by one
// person, or, without a model, one finding of where the canal's entrance of that
// head lies, from any point of the head that stays.
type ReadingRow struct {
	Row            int // line in readings.csv, 1-based, the head included
	Subject, Model string
	Number         int // of the seating; 0 of a finding of the entrance
	Side           Side
	ForwardMM      float64 // toward the nose
	UpMM           float64 // toward the crown
	Reader         string  // who read; "" where one person did
	Notes          string
}

// OnFixture reports whether the reading was taken on the fixture.
func (r ReadingRow) OnFixture() bool { return r.Subject == FixtureSubject }
