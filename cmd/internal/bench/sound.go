package bench

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/cmd/internal/hearing"
	"asworn/report/text"
)

// Sound is the sound card of a study: which devices and inputs are used, what is
// played on them, and how loud that is and may be. It knows no plan. Its methods
// may be called from any goroutine.
type Sound struct {
	system audio.System // nil where takes come from elsewhere
	study  *capture.Study
	setup  capture.Setup
	dir    string
	now    func() time.Time
	rateHz int       // of the study
	signal []float64 // the excitation as a take plays it, to the end of its last sweep
	one    []float64 // one repeat of it

	arrival arrival

	mu       sync.Mutex
	settings Settings
	safety   Safety
	peaks    []Peak // of the inputs of the study, of the sound now
}

func newSound(system audio.System, dir string, st *capture.Study, setup capture.Setup, now func() time.Time) (*Sound, error) {
	s := &Sound{system: system, study: st, setup: setup, dir: dir, now: now, rateHz: int(st.Sweep.RateHz)}
	var err error
	if s.settings, err = LoadSettings(dir); err != nil {
		return nil, err
	}
	s.safety = Safety{LimitDB: s.settings.LimitDB, GainDB: s.settings.GainDB, Levels: map[string]Level{}, Read: map[string]bool{}}
	if s.signal, s.one, err = excitation(st, setup); err != nil {
		return nil, err
	}
	s.arrival.one, s.arrival.lead, s.arrival.gap, s.arrival.rateHz = s.one, st.Sweep.LeadSamples(), st.Sweep.GapSamples(), st.Sweep.RateHz
	return s, nil
}

// excitation is what a take plays, and one repeat of it.
func excitation(st *capture.Study, setup capture.Setup) (signal, one []float64, err error) {
	w := setup.Sweep
	if len(setup.Excitation) == 0 {
		signal, one = w.Signal(), w.Sweep()
		return signal[:len(signal)-w.GapSamples()], one, nil
	}
	one = setup.Excitation
	for i, v := range one {
		if !(math.Abs(v) <= 1) {
			return nil, nil, fmt.Errorf("%s: sample %d is %g, beyond full scale", st.Excitation, i, v)
		}
	}
	signal = make([]float64, w.LeadSamples())
	for k := range max(1, w.Repeats) {
		if k > 0 {
			signal = append(signal, make([]float64, w.GapSamples())...)
		}
		signal = append(signal, one...)
	}
	return signal, one, nil
}

// takeBytes is the size of a take on the disk, but for its header.
func (s *Sound) takeBytes() int {
	return 4 * s.study.Channels.Highest() * int(math.Ceil(s.arrival.recorded(s.signal, usualArrival)*float64(s.rateHz)))
}

// takeMinutes is how long a take is recorded, in minutes.
func (s *Sound) takeMinutes() float64 { return s.arrival.recorded(s.signal, usualArrival) / 60 }

// Wants are the channels that the study asks for, by their numbers in its files.
func (s *Sound) Wants() hearing.Inputs {
	return hearing.Inputs(s.study.Channels)
}

// ErrUnchosen is what is missing the first time.
var ErrUnchosen = errors.New("no sound device is chosen yet")

// Ready says what is still missing before the first sound: devices and a map of
// inputs that fit the study.
func (s *Sound) Ready() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.settings.Capture == "" || s.settings.Playback == "" {
		return ErrUnchosen
	}
	cfg, err := s.settings.config(s.system, s.rateHz)
	if err != nil {
		return err
	}
	return s.settings.Inputs.Check(s.Wants(), cfg.Inputs)
}

// change keeps new settings, here and on the disk.
func (s *Sound) change(f func(*Settings) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	set := s.settings
	if err := f(&set); err != nil {
		return err
	}
	if err := set.Save(s.dir); err != nil {
		return err
	}
	s.settings, s.safety.LimitDB, s.safety.GainDB = set, set.LimitDB, set.GainDB
	return nil
}

// Choose sets the devices by name, forgets the map of inputs where they changed,
// and keeps both.
func (s *Sound) Choose(playback, recording audio.Device, outputs []int) error {
	return s.change(func(set *Settings) error {
		if set.Capture != recording.Name || recording.Channels > 0 && set.Inputs.Highest() > recording.Channels {
			set.Inputs = hearing.Inputs{}
		}
		set.Playback, set.Capture = playback.Name, recording.Name
		if len(outputs) > 0 {
			set.Outputs = outputs
		}
		if err := set.check(); err != nil {
			return err
		}
		if n := s.Wants().Count(); recording.Channels > 0 && n > recording.Channels {
			return fmt.Errorf("%s has %s, and the study records %d channels: choose another device, or take what is not plugged in out of [channels] in study.toml", recording.Name, text.Plural(recording.Channels, "input"), n)
		}
		if _, err := set.config(s.system, s.rateHz); err != nil {
			return err
		}
		s.safety.Levels = map[string]Level{} // another device, another level
		s.arrival.forget()
		return nil
	})
}

// Limit sets the highest level at a listener's ear, dB(A) SPL.
func (s *Sound) Limit(db float64) error {
	return s.change(func(set *Settings) error { set.LimitDB = db; return nil })
}

// SetInputs keeps the map that was found.
func (s *Sound) SetInputs(in hearing.Inputs) error {
	return s.change(func(set *Settings) error {
		cfg, err := set.config(s.system, s.rateHz)
		if err != nil {
			return err
		}
		set.Inputs = in
		return in.Check(s.Wants(), cfg.Inputs)
	})
}

// turn changes the gain of playback by a step in dB and returns what it is.
func (s *Sound) turn(step float64) (gainDB float64, err error) {
	err = s.change(func(set *Settings) error {
		set.GainDB = min(0, max(-90, set.GainDB+step))
		gainDB = set.GainDB
		return nil
	})
	return gainDB, err
}

// confirm takes down that the cautions were read, in this session.
func (s *Sound) confirm() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.safety.Cautions = true
}

// know returns a copy of what is known of levels.
func (s *Sound) know() Safety {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := s.safety
	out.Levels, out.Read = maps.Clone(out.Levels), maps.Clone(out.Read)
	return out
}

// chosen returns the settings.
func (s *Sound) chosen() Settings {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.settings
}

// Peak is the highest of the samples that came last, of one channel of the study: left,
// right or loopback, re full scale.
type Peak struct {
	Channel string
	Value   float64
}

// meters returns the peaks of the inputs of the study, of the sound now.
func (s *Sound) meters() []Peak {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.peaks)
}

// take plays the excitation at the gain of the settings and records it.
func (s *Sound) take(ctx context.Context) (got audio.Take, gainDB float64, err error) {
	s.arrival.learn(s.chosen().Inputs)
	gainDB = s.know().GainDB
	got, err = s.record(ctx, s.signal, gainDB, nil, s.arrival.recorded(s.signal, usualArrival))
	return got, gainDB, err
}

// record plays a signal on outputs, those of the settings when there are none, and
// records all inputs.
func (s *Sound) record(ctx context.Context, signal []float64, gainDB float64, on []int, seconds float64) (audio.Take, error) {
	set := s.chosen()
	cfg, err := set.config(s.system, s.rateHz)
	if err != nil {
		return audio.Take{}, err
	}
	if on == nil {
		on = set.Outputs
	}
	defer func() { s.mu.Lock(); defer s.mu.Unlock(); s.peaks = nil }()
	return audio.Record(ctx, s.system, cfg, audio.Playing{Signal: signal, Gain: math.Pow(10, gainDB/20), On: on, Seconds: seconds, Levels: s.meter})
}

// meter takes down the peaks of the inputs of the study.
func (s *Sound) meter(peaks []float64) {
	if !s.mu.TryLock() { // the driver must not wait
		return
	}
	defer s.mu.Unlock()
	in := s.settings.Inputs
	s.peaks = s.peaks[:0:0]
	for _, c := range in.Each() {
		if c.Number > 0 && c.Number <= len(peaks) {
			s.peaks = append(s.peaks, Peak{c.Channel, peaks[c.Number-1]})
		}
	}
}

// channels puts the inputs where the study has its channels. Channels of the
// file that the study does not name are silent.
func (s *Sound) channels(inputs [][]float64) [][]float64 {
	in := s.chosen().Inputs.Each()
	out := make([][]float64, s.study.Channels.Highest())
	for i, c := range s.Wants().Each() {
		if c.Number > 0 {
			out[c.Number-1] = inputs[in[i].Number-1]
		}
	}
	for i := range out {
		if out[i] == nil {
			out[i] = make([]float64, len(inputs[0]))
		}
	}
	return out
}

// lost says what the driver lost of a take of the whole excitation, or that a device
// does not run at the study's rate.
func (s *Sound) lost(t audio.Take) (out []string) {
	if c := t.Counters; c.Recorded > 0 && c.Played < int64(len(s.signal)) {
		out = append(out, fmt.Sprintf("playback ended after %.1f s of %.1f: see whether %s is still plugged in, and record again", float64(c.Played)/float64(t.RateHz), float64(len(s.signal))/float64(t.RateHz), t.Playback.Name))
	}
	if n := t.Counters.UnderRuns + t.Counters.DropOuts; n > 0 {
		out = append(out, fmt.Sprintf("the sound device lost samples: %s of playback, %s of recording; close other programs and record again", text.Plural(t.Counters.UnderRuns, "under-run"), text.Plural(t.Counters.DropOuts, "drop-out")))
	}
	for _, d := range []audio.Device{t.Playback, t.Capture} {
		if !d.RunsAt(s.rateHz) {
			out = append(out, fmt.Sprintf("%s runs at %v Hz, the study at %d: the system resamples; set the device to the rate of the study", d.Name, d.RatesHz, s.rateHz))
		}
	}
	return out
}
