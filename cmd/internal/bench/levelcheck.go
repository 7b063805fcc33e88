package bench

import (
	"context"
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/cmd/internal/hearing"
)

// checkLevel plays single sweeps on the fixture, at rising gains, and at the last one the
// whole excitation, whose repeats tell the clock. It learns how loud the model of a row is
// there and returns what to show; tell hears of each step.
func (s *Sound) checkLevel(ctx context.Context, row capture.Seating, tell func(string)) string {
	model := row.Model
	s.mu.Lock()
	if s.safety.Levels[model].Known {
		delete(s.safety.Levels, model) // it is found anew
	}
	s.mu.Unlock()
	s.arrival.forget() // it is found anew
	safety := s.know()
	steps := safety.Steps()
	for i, gain := range steps {
		signal := s.one
		if i+1 == len(steps) {
			signal = s.signal
		}
		got, err := s.record(ctx, signal, gain, nil, s.arrival.recorded(signal, longestArrival))
		if err != nil {
			return err.Error()
		}
		if got.Stopped {
			return "stopped; the level is not known"
		}
		whole := got
		if i+1 == len(steps) {
			got.Samples = cut(whole.Samples, s.study.Sweep.LeadSamples(), int(s.arrival.recorded(s.one, s.arrival.reach())*float64(s.rateHz)))
		}
		h, err := s.hear(got.Samples, gain)
		if err != nil {
			return err.Error()
		}
		tell(finding.Text("level check at %.0f dB: %s", gain, h.words))
		if h.arrived {
			s.arrival.found(h.delay)
		}
		if i+1 < len(steps) {
			if err := safety.MayRise(h.level, steps[i+1]); err != nil {
				return err.Error()
			}
			continue
		}
		if lost := s.lost(got); len(lost) > 0 {
			h.words += "; " + lost[0]
		}
		if !h.arrived {
			return h.words + fmt.Sprintf(". The sweep does not reach every microphone within %.0f s: check amplifier, plugs and the map of inputs, and make the level check again (l)", longestArrival)
		}
		if h.delay > usualArrival {
			h.words += fmt.Sprintf("; takes wait %.2f s for the sound%s", h.delay, quicker)
		}
		h.words += clock(s.setup, s.channels(whole.Samples), whole.RateHz)
		s.mu.Lock()
		s.safety.Levels[model] = h.level
		s.mu.Unlock()
		compared, err := s.compare(DayLevel{Model: model, Point: row.Point, GainDB: gain, DB: h.level.DB, Known: h.level.Known, Ears: h.ears})
		if err != nil {
			return err.Error()
		}
		if compared != "" {
			h.words += ". " + compared
		}
		if !h.level.Known {
			h.words += ". Not in dB SPL: without calibration read a sound level meter at the fixture's ear while this plays again (l), and type what it says (v)"
		}
		return h.words
	}
	return ""
}

// heardAll is what all inputs of the study heard of one sweep.
type heardAll struct {
	level   Level
	ears    []float64 // dB, left and right as far as the study has them
	arrived bool      // everywhere
	delay   float64   // seconds, the longest
	words   string
}

// hear looks at every channel of the study in a take of one sweep.
func (s *Sound) hear(inputs [][]float64, gain float64) (heardAll, error) {
	wants, rate := s.Wants().Each(), float64(s.rateHz)
	out := heardAll{level: Level{DB: math.Inf(-1), GainDB: gain, Known: true}, arrived: true}
	for e, in := range s.chosen().Inputs.Each() {
		if wants[e].Number == 0 || in.Number == 0 {
			continue
		}
		name, pa := in.Channel, 0.0
		if e < len(s.setup.Microphones) {
			pa = s.setup.Microphones[e].PaPerUnit
		}
		h, err := hearing.Hear(s.one, inputs[in.Number-1], rate, float64(len(s.one))/rate, pa)
		if err != nil {
			return out, err
		}
		if out.words != "" {
			out.words += "; "
		}
		out.words += h.Words(name, rate, pa > 0)
		out.arrived = out.arrived && h.Arrived
		out.delay = max(out.delay, float64(h.Delay)/rate)
		if e < 2 {
			out.level.Known = out.level.Known && pa > 0
			out.level.DB = max(out.level.DB, h.DB)
			out.ears = append(out.ears, h.DB)
		}
	}
	return out, nil
}

// cut is n samples of all channels, or as many as there are, from one on.
func cut(channels [][]float64, from, n int) [][]float64 {
	out := make([][]float64, len(channels))
	for c, x := range channels {
		out[c] = x[min(from, len(x)):min(from+n, len(x))]
	}
	return out
}

// mostClockSE is from which standard error on a clock is not told: crystals differ by some
// ten ppm. Common practice, no source.
const mostClockSE = 10.0 // ppm

// clock says by how much recording runs faster than playback, as a recording of the
// excitation tells; nothing where it does not.
func clock(setup capture.Setup, channels [][]float64, rateHz int) string {
	p, err := capture.NewProcessor(setup)
	if err != nil {
		return ""
	}
	rec, err := p.ProcessSamples(channels, float64(rateHz))
	if err != nil || !rec.Quality.Usable() || !(rec.DriftSEPPM > 0 && rec.DriftSEPPM < mostClockSE) {
		return ""
	}
	return finding.Text("; clock of recording against playback %+.1f ± %.1f ppm", rec.DriftPPM, 2*rec.DriftSEPPM)
}

// compare keeps the level of today and says how it differs from that of an
// earlier day.
func (s *Sound) compare(l DayLevel) (words string, err error) {
	l.Date, l.Fixture = s.now().Format("2006-01-02"), s.study.Fixture.Subject
	err = s.change(func(set *Settings) error {
		words = set.Compare(l)
		set.Levels = append(set.Levels, l)
		return nil
	})
	return words, err
}

// learn takes what the recording of a fixture row, played at a gain, says of the
// level, and compares the first of a model on a day with an earlier day.
func (s *Sound) learn(row capture.Seating, rec capture.Recording, gainDB float64) (words string, err error) {
	if !row.OnFixture() || !rec.Quality.Usable() || s.system == nil {
		return "", nil
	}
	s.mu.Lock()
	l := Level{DB: math.Inf(-1), GainDB: gainDB, Known: calibrated(s.study, s.setup)}
	var ears []float64
	for _, e := range capture.Ears {
		if s.study.Channels.Of(e) > 0 {
			l.DB = max(l.DB, rec.Ears[e].SweepLevelA)
			ears = append(ears, rec.Ears[e].SweepLevelA)
		}
	}
	old, ok := s.safety.Levels[row.Model]
	if !ok || !old.Known || l.Known { // one that was read off an instrument stays
		s.safety.Levels[row.Model] = l
	}
	first := !s.settings.has(DayLevel{Model: row.Model, Point: row.Point, Fixture: s.study.Fixture.Subject, Date: s.now().Format("2006-01-02")})
	s.mu.Unlock()
	if !first || row.Displaced() || row.Seal != "" { // displaced or leaking on purpose
		return "", nil
	}
	return s.compare(DayLevel{Model: row.Model, Point: row.Point, GainDB: l.GainDB, DB: l.DB, Known: l.Known, Ears: ears})
}

// readLevel takes the level that the operator read at the fixture's ear with an
// instrument while the level check played, dB(A) SPL, and returns what to show.
func (s *Sound) readLevel(model string, db float64) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	l, heard := s.safety.Levels[model]
	switch {
	case !heard:
		return "make the level check first (l), and read the instrument while it plays at the last step"
	case calibrated(s.study, s.setup):
		return "the microphones are calibrated: their level counts"
	case !(db >= 20 && db <= 140):
		return fmt.Sprintf("%g dB is no level of a sweep: type 20 to 140", db)
	}
	s.safety.Levels[model], s.safety.Read[model] = Level{DB: db, GainDB: l.GainDB, Known: true}, true
	return finding.Text("%g dB(A) at the ear at %.0f dB of gain", db, l.GainDB)
}

// calibrated reports whether every microphone of the study is.
func calibrated(st *capture.Study, setup capture.Setup) bool {
	for _, e := range capture.Ears {
		if st.Channels.Of(e) > 0 && setup.Microphones[e].PaPerUnit == 0 {
			return false
		}
	}
	return true
}
