package exposure

import (
	"fmt"
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

// PascalSquaredHours is the A-weighted sound exposure, Pa²h.
func (s Session) PascalSquaredHours() float64 {
	return s.energy * ReferencePa * ReferencePa / 3600
}

// LEX8hDB is the exposure normalised to a working day of eight hours, in dB:
// the level that, held for eight hours, carries the same energy (ISO 1999;
// the quantity of Directive 2003/10/EC). Silence is −Inf.
func (s Session) LEX8hDB() float64 {
	return 10 * math.Log10(s.energy/(dayHours*3600))
}

// Limit is a usual limit of daily exposure.
type Limit struct {
	Name    string
	LEX8hDB float64
}

// Limits returns usual limits of daily noise exposure at work, lowest first.
// Sources: article 3 of the directive; docs/exposure.md. They are meant for adults at work and for the sound
// field without the listener, and differ from place to place.
func Limits() []Limit {
	return []Limit{
		{"lower action value, Directive 2003/10/EC", 80},
		{"upper action value, Directive 2003/10/EC; recommended limit, NIOSH 98-126", 85},
		{"limit value, Directive 2003/10/EC", 87},
	}
}

// Share is the part of the day's energy at the limit that the session used: 1
// is all of it.
func (l Limit) Share(s Session) float64 {
	return s.energy / (dayHours * 3600 * math.Pow(10, l.LEX8hDB/10))
}

// SecondsAt is how long the A-weighted level (dB SPL) may last until the limit
// is used up. Every 3 dB halve it.
func (l Limit) SecondsAt(levelA float64) float64 {
	return dayHours * 3600 * math.Pow(10, (l.LEX8hDB-levelA)/10)
}

// Notes returns the caution about a listener's session in plain words: what
// was measured, what it is of the lowest usual limit, and what the number is
// not. The last sentences are the same for every session.
func (s Session) Notes() []string {
	if s.Seconds == 0 {
		return []string{"No calibrated recording: the exposure is not known. Start low, stop at the first discomfort."}
	}
	limit := Limits()[0]
	out := []string{
		fmt.Sprintf("%.0f s of sound, at most %.1f dB(A), L_EX,8h %.1f dB: %.2g %% of a day at %.0f dB (%s).",
			s.Seconds, s.MaxLevelA, s.LEX8hDB(), 100*limit.Share(s), limit.LEX8hDB, limit.Name),
	}
	if share := limit.Share(s); share >= 1 {
		out = append(out, "This alone reaches the lower action value. Stop, lower the drive, and ask a qualified person before going on.")
	} else if share >= 0.1 {
		out = append(out, "This uses up a tenth of the day or more. Lower the drive if the noise floor allows.")
	}
	return append(out,
		"The level was measured in or at the ear. Limits are meant for the sound field without the listener, which is usually lower by some dB; ISO 11904-1 tells how to turn one into the other. Only what was recorded is counted: setting up, retakes and the rest of the listener's day come on top.",
		"This is a caution, not a clearance: local rules and qualified people decide.")
}
