package exposure

import (
	"math"
)

// Session is the sound one ear was given. The zero value is silence.
type Session struct {
	Seconds   float64 // total time of sound
	MaxLevelA float64 // the highest A-weighted level added, dB SPL
	energy    float64 // ∫p_A² dt over the reference pressure squared, in seconds
}

// With returns the session with more sound: the A-weighted equivalent level
// (dB SPL) held for so many seconds.
func (s Session) With(levelA, seconds float64) Session {
	if !(seconds > 0) {
		return s
	}
	if s.Seconds == 0 || levelA > s.MaxLevelA {
		s.MaxLevelA = levelA
	}
	s.Seconds += seconds
	s.energy += seconds * math.Pow(10, levelA/10)
	return s
}

const dayHours = 8

// LEX8hDB is the exposure normalised to a working day of eight hours, in dB:
// the level that, held for eight hours, carries the same energy (ISO 1999;
// the quantity of Directive 2003/10/EC). Silence is −Inf.
func (s Session) LEX8hDB() float64 {
	return 10 * math.Log10(s.energy/(dayHours*3600))
}

// Limit is a usual limit of daily exposure.
type Limit struct {
	Name    string
	LEX8hDB float64 // dB(A) re 20 µPa, normalised to eight hours
}

// Limits returns usual limits of daily noise exposure at work, lowest first. Sources:
// article 3 of the directive; docs/exposure.md. They are meant for adults at work and for
// the sound field without the listener, and differ from place to place. Levels are dB(A)
// SPL over eight hours (Limit.LEX8hDB).
func Limits() []Limit {
	return []Limit{
		{"lower action value, Directive 2003/10/EC", 80},
		{"upper action value, Directive 2003/10/EC; recommended limit, NIOSH 98-126", 85},
		{"limit value, Directive 2003/10/EC", 87},
	}
}

// Share is the part of the day's energy at the limit that the session used: 1 is all of
// it. It is a pure number, 0 for a session without sound.
func (l Limit) Share(s Session) float64 {
	return s.energy / (dayHours * 3600 * math.Pow(10, l.LEX8hDB/10))
}
