package bench

import (
	"errors"
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/finding"
)

// Limits of the level at the ear. docs/cautions.md asks for 70 to 80 dB SPL;
// local rules come first and may ask for less.
const (
	DefaultLimitDB = 80.0 // dB(A) SPL of the sweep at the ear
	minLimitDB     = 40.0
	maxLimitDB     = 94.0
	// LowGainDB is the highest gain at which a listener's row is played while
	// nobody knows the level at the ear in dB SPL. Common practice, no source: it
	// keeps a mistake from being a loud one, and knows nothing of the amplifier.
	LowGainDB = -30.0
	// stepDB is by how much the level comes up from one sweep of the level check
	// to the next.
	stepDB = 10.0
	// startDB is where it starts, relative to the gain that is wanted.
	startDB = -30.0
)

// Level is what a model was found to give on the fixture, in this session.
type Level struct {
	DB     float64 // dB(A) SPL of the sweep, the louder ear; only when Known
	GainDB float64 // at which it was found
	Known  bool    // the level in dB SPL is known: microphones calibrated, or read off an instrument
}

// At predicts the level at another gain.
func (l Level) At(gainDB float64) float64 { return l.DB + gainDB - l.GainDB }

// Safety is what has to be known before anybody hears anything.
type Safety struct {
	LimitDB  float64
	GainDB   float64
	Cautions bool             // confirmed in this session
	Levels   map[string]Level // by model, of this session
	Read     map[string]bool  // models whose level was read off an instrument in this session: after another check it must be again
}

// Refuse says why a row must not be played now; nil when it may.
func (s Safety) Refuse(r capture.Seating) error {
	level, heard := s.Levels[r.Model]
	if r.OnFixture() {
		if heard && level.Known && level.At(s.GainDB) > s.LimitDB {
			return s.tooLoud(r, level)
		}
		return nil
	}
	what := r.Model
	if what == "" {
		what = "the loudspeaker"
	}
	switch {
	case !s.Cautions:
		return fmt.Errorf("the cautions have not been confirmed in this session")
	case !heard:
		return fmt.Errorf("nobody knows yet how loud %s is: put it on the fixture and make the level check (l), or record one of its fixture rows, in this session", what)
	case !level.Known && s.Read[r.Model]:
		return fmt.Errorf("the level of %s was checked again after it had been read off an instrument: read it again while the level check plays (l), and type it (v)", what)
	case !level.Known && s.GainDB > LowGainDB:
		return errors.New(finding.Text("the level at the ear is not known in dB SPL, and the gain is %.0f dB: without calibration a listener hears at most %.0f dB; calibrate the microphones, or make the level check (l) and type what a sound level meter at the fixture's ear reads", s.GainDB, LowGainDB))
	case level.Known && level.At(s.GainDB) > s.LimitDB:
		return s.tooLoud(r, level)
	}
	return nil
}

func (s Safety) tooLoud(r capture.Seating, l Level) error {
	return fmt.Errorf("%s would be at %.1f dB(A) at the ear, above the limit of %.0f dB(A): turn the amplifier down by %.0f dB and make the level check again (l)",
		Words(r), l.At(s.GainDB), s.LimitDB, math.Ceil(l.At(s.GainDB)-s.LimitDB))
}

// Steps are the gains of a level check, upward: it starts low and comes up to
// the gain that is wanted.
func (s Safety) Steps() []float64 {
	var out []float64
	for g := s.GainDB + startDB; g < s.GainDB-stepDB/2; g += stepDB {
		out = append(out, g)
	}
	return append(out, s.GainDB)
}

// MayRise says why the level check must not go up to the next gain after a level
// was found; nil when it may.
func (s Safety) MayRise(l Level, next float64) error {
	if l.Known && l.At(next) > s.LimitDB {
		return errors.New(finding.Text("at %.0f dB of gain it is %.1f dB(A) at the ear; the next step would be above the limit of %.0f dB(A): turn the amplifier down by %.0f dB or more and make the level check again (l)",
			l.GainDB, l.DB, s.LimitDB, math.Ceil(l.At(next)-s.LimitDB)))
	}
	return nil
}

// words says what is known of the level of a model.
func (s Safety) words(model string) string {
	l, ok := s.Levels[model]
	switch {
	case !ok:
		return finding.Text("gain %.0f dB; level not checked in this session", s.GainDB)
	case !l.Known && s.Read[model]:
		return finding.Text("gain %.0f dB; level to be read anew (v)", s.GainDB)
	case !l.Known:
		return finding.Text("gain %.0f dB; level in dB SPL not known, listeners hear at most %.0f dB of gain", s.GainDB, LowGainDB)
	}
	return finding.Text("gain %.0f dB; %.0f dB(A) at the ear, limit %.0f", s.GainDB, l.At(s.GainDB), s.LimitDB)
}
