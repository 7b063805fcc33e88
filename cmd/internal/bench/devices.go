package bench

import (
	"context"
	"fmt"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/audio"
)

// config finds the devices of the settings and opens all their channels: fewer
// would have the system mix them.
func (s Settings) config(sys audio.System, rate int) (audio.Config, error) {
	playback, recording, err := sys.Devices()
	if err != nil {
		return audio.Config{}, err
	}
	out, err := audio.Find(playback, s.Playback)
	if err != nil {
		return audio.Config{}, fmt.Errorf("playback: %w", err)
	}
	in, err := audio.Find(recording, s.Capture)
	if err != nil {
		return audio.Config{}, fmt.Errorf("recording: %w", err)
	}
	return audio.Config{Playback: out.ID, Capture: in.ID, RateHz: rate,
		Outputs: max(out.Channels, slices.Max(s.Outputs)), Inputs: max(in.Channels, s.Inputs.Left, s.Inputs.Right, s.Inputs.Loopback, 1)}, nil
}

// Ready says what is still missing before the first sound: devices and a map of
// inputs that fit the study.
func (d *Desk) Ready() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.settings.Capture == "" || d.settings.Playback == "" {
		return fmt.Errorf("no sound device is chosen yet")
	}
	cfg, err := d.settings.config(d.opt.System, d.rate())
	if err != nil {
		return err
	}
	return d.settings.Inputs.Check(d.Wants(), cfg.Inputs)
}

// Wants are the channels that the study asks for, by their numbers in its files.
func (d *Desk) Wants() Inputs {
	c := d.study.Channels
	return Inputs{c.Left, c.Right, c.Loopback}
}

// Choose sets the devices by name, forgets the map of inputs where they changed,
// and keeps both.
func (d *Desk) Choose(playback, recording audio.Device, outputs []int) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.settings
	if s.Capture != recording.Name {
		s.Inputs = Inputs{}
	}
	s.Playback, s.Capture = playback.Name, recording.Name
	if len(outputs) > 0 {
		s.Outputs = outputs
	}
	d.settings, d.safety.Levels = s, map[string]Level{} // another device, another level
	return s.Save(d.store.dir)
}

// Limit sets the highest level at a listener's ear, dB(A) SPL.
func (d *Desk) Limit(db float64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.settings
	s.LimitDB = db
	if err := s.Save(d.store.dir); err != nil {
		return err
	}
	d.settings, d.safety.LimitDB = s, db
	return nil
}

// tapListen is how long the tap test listens, in seconds.
const tapListen = 4

// Tap listens, without a sound, and returns the input that was touched.
func (d *Desk) Tap(ctx context.Context) (input int, err error) {
	got, err := d.listen(ctx, tapListen, nil, nil)
	if err != nil {
		return 0, err
	}
	return Tapped(got.Samples, got.RateHz)
}

func (d *Desk) listen(ctx context.Context, seconds float64, signal []float64, on []int) (audio.Take, error) {
	d.mu.Lock()
	set := d.settings
	d.mu.Unlock()
	cfg, err := set.config(d.opt.System, d.rate())
	if err != nil {
		return audio.Take{}, err
	}
	got, err := audio.Record(ctx, d.opt.System, cfg, audio.Playing{Signal: signal, On: on, Gain: math.Pow(10, min(LowGainDB, d.gain())/20), Seconds: seconds})
	if err == nil && got.Stopped {
		err = ctx.Err()
	}
	return got, err
}

// SetInputs keeps the map that was found.
func (d *Desk) SetInputs(in Inputs) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.settings
	cfg, err := s.config(d.opt.System, d.rate())
	if err != nil {
		return err
	}
	if err := in.Check(d.Wants(), cfg.Inputs); err != nil {
		return err
	}
	s.Inputs = in
	if err := s.Save(d.store.dir); err != nil {
		return err
	}
	d.settings = s
	return nil
}

// CheckLevel plays single sweeps on the fixture, at rising gains, and learns
// how loud the model of the row that is shown is there. The caller has had it
// confirmed that the headphone is on the fixture and nobody wears it.
func (d *Desk) CheckLevel() {
	d.update(func() {
		row, ok := d.session.Row()
		if !ok || d.opt.System == nil || d.session.Phase == Playing || d.session.Phase == Judging {
			return
		}
		if l := d.safety.Levels[row.Model]; l.Known {
			delete(d.safety.Levels, row.Model) // it is found anew
		}
		d.session.Phase, d.screen.Message = Playing, "level check: "+row.Model
		d.begin(func(ctx context.Context) {
			message := d.levelCheck(ctx, row.Model)
			d.update(func() {
				d.session, d.screen.Peaks = d.session.Heard(false), nil
				d.screen.Message = message
			})
		})
	})
}

// levelCheck returns what to show.
func (d *Desk) levelCheck(ctx context.Context, model string) string {
	d.mu.Lock()
	safety := d.safety
	d.mu.Unlock()
	steps := safety.Steps()
	for i, gain := range steps {
		got, err := d.sound(ctx, d.one, gain)
		if err != nil {
			return err.Error()
		}
		if got.Stopped {
			return "stopped; the level is not known"
		}
		level, day, words, err := d.hear(got, gain)
		if err != nil {
			return err.Error()
		}
		d.update(func() { d.screen.Message = fmt.Sprintf("level check at %.0f dB: %s", gain, words) })
		if i+1 < len(steps) {
			if err := safety.MayRise(level, steps[i+1]); err != nil {
				return err.Error()
			}
			continue
		}
		if lost := lostOf(got, d.rate()); len(lost) > 0 {
			words += "; " + lost[0]
		}
		if !day.arrived {
			return words + ". The sweep does not reach every microphone: check amplifier, plugs and the map of inputs, and make the level check again (l)"
		}
		day.DayLevel.Date, day.Model, day.GainDB = d.opt.Now().Format("2006-01-02"), model, gain
		d.mu.Lock()
		defer d.mu.Unlock()
		d.safety.Levels[model] = level
		compared := d.settings.Compare(day.DayLevel)
		d.settings.Levels = append(d.settings.Levels, day.DayLevel)
		if err := d.settings.Save(d.store.dir); err != nil {
			return err.Error()
		}
		if compared != "" {
			words += ". " + compared
		}
		if !level.Known {
			words += ". Not in dB SPL: without calibration read a sound level meter at the fixture's ear while this plays again (l), and type what it says (v)"
		}
		return words
	}
	return ""
}

type heardDay struct {
	DayLevel
	arrived bool
}

// hear looks at every channel of the study in a take of one sweep.
func (d *Desk) hear(got audio.Take, gain float64) (Level, heardDay, string, error) {
	rate := float64(d.rate())
	mics := d.judge.Setup().Microphones
	level, day := Level{DB: math.Inf(-1), GainDB: gain, Known: true}, heardDay{arrived: true}
	var words string
	in := d.settings.Inputs
	for e, input := range []int{in.Left, in.Right, in.Loopback} {
		if input == 0 || [3]int{d.study.Channels.Left, d.study.Channels.Right, d.study.Channels.Loopback}[e] == 0 {
			continue
		}
		name, pa := "loopback", 0.0
		if e < 2 {
			name, pa = capture.Ear(e).String(), mics[e].PaPerUnit
		}
		h, err := Hear(d.one, got.Samples[input-1], rate, float64(len(d.one))/rate, pa)
		if err != nil {
			return level, day, "", err
		}
		if words != "" {
			words += "; "
		}
		words += h.words(name, rate, pa > 0)
		day.arrived = day.arrived && h.Arrived
		if e < 2 {
			level.Known = level.Known && pa > 0
			level.DB = max(level.DB, h.DB)
			day.Ears = append(day.Ears, h.DB)
		}
	}
	day.DB, day.Known = level.DB, level.Known
	return level, day, words, nil
}

// ReadLevel takes the level that the operator read at the fixture's ear with an
// instrument while the level check played, dB(A) SPL.
func (d *Desk) ReadLevel(db float64) {
	d.update(func() {
		row, ok := d.session.Row()
		if !ok {
			return
		}
		l, heard := d.safety.Levels[row.Model]
		switch {
		case !heard:
			d.screen.Message = "make the level check first (l), and read the instrument while it plays at the last step"
		case d.calibrated():
			d.screen.Message = "the microphones are calibrated: their level counts"
		case !(db >= 20 && db <= 140):
			d.screen.Message = fmt.Sprintf("%g dB is no level of a sweep: type 20 to 140", db)
		default:
			d.safety.Levels[row.Model] = Level{DB: db, GainDB: l.GainDB, Known: true}
			d.screen.Message = fmt.Sprintf("%g dB(A) at the ear at %.0f dB of gain", db, l.GainDB)
		}
	})
}

// calibrated reports whether every microphone of the study is.
func (d *Desk) calibrated() bool {
	mics := d.judge.Setup().Microphones
	for e, channel := range [2]int{d.study.Channels.Left, d.study.Channels.Right} {
		if channel > 0 && mics[e].PaPerUnit == 0 {
			return false
		}
	}
	return true
}

// PlaySide plays the sweep, low, on one output alone and returns the input that
// hears it. The caller has had it confirmed that nobody wears the headphone.
func (d *Desk) PlaySide(ctx context.Context, output int, not ...int) (input int, err error) {
	got, err := d.listen(ctx, float64(len(d.one))/float64(d.rate())+tailSeconds, d.one, []int{output})
	if err != nil {
		return 0, err
	}
	best, next := math.Inf(-1), math.Inf(-1)
	for c, x := range got.Samples {
		h, err := Hear(d.one, x, float64(got.RateHz), float64(len(d.one))/float64(got.RateHz), 0)
		if err != nil {
			return 0, err
		}
		switch {
		case slices.Contains(not, c+1) || !h.Arrived:
		case h.DB > best:
			best, next, input = h.DB, best, c+1
		case h.DB > next:
			next = h.DB
		}
	}
	switch {
	case input == 0:
		return 0, fmt.Errorf("no input hears output %d: check amplifier and plugs, or raise the gain", output)
	case best-next < tapMarginDB:
		return 0, fmt.Errorf("two inputs hear output %d about as loud: touch the microphones instead", output)
	}
	return input, nil
}
