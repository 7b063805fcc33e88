package bench

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"slices"

	"github.com/pelletier/go-toml/v2"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/disk"
	"asworn/capture/finding"
	"asworn/cmd/internal/hearing"
	"asworn/report/text"
)

// SettingsFile keeps, in the study's folder, which devices are used and how.
const SettingsFile = "bench.toml"

// Settings are the choices at the bench that outlast a session.
type Settings struct {
	Playback string         `toml:"playback" comment:"Devices, by name."`
	Capture  string         `toml:"capture"`
	Outputs  []int          `toml:"outputs" comment:"Outputs of the playback device that play, counted from 1."`
	Inputs   hearing.Inputs `toml:"inputs" comment:"Inputs of the recording device, counted from 1; found by touching each microphone."`
	GainDB   float64        `toml:"gain_db" comment:"Of playback, over the sweep as study.toml describes it."`
	LimitDB  float64        `toml:"limit_db_spl" comment:"Highest level of the sweep at a listener's ear, dB(A). Local rules come first."`
	Recorder string         `toml:"recorder_checked,omitempty" comment:"Day on which left and right in another recorder's files were told by touching the microphones."`
	// Levels are those of level checks, to compare one day with another.
	Levels []DayLevel `toml:"level" comment:"Level checks on the fixture, newest last."`
}

// DayLevel is one level check.
type DayLevel struct {
	Date    string        `toml:"date"`
	Fixture string        `toml:"fixture,omitempty" comment:"Of several in the study."`
	Model   string        `toml:"model"`
	Point   capture.Point `toml:"point"`
	GainDB  float64       `toml:"gain_db"`
	DB      float64       `toml:"level_db" comment:"dB(A) SPL when calibrated, else dB(A) re full scale"`
	Known   bool          `toml:"calibrated"`
	Ears    []float64     `toml:"channels_db" comment:"left and right by themselves"`
}

// LoadSettings reads what was kept in a study's folder; before the first time
// they are the defaults.
func LoadSettings(dir string) (Settings, error) {
	s := Settings{GainDB: LowGainDB, LimitDB: DefaultLimitDB, Outputs: []int{1, 2}}
	name := filepath.Join(dir, SettingsFile)
	kept, err := disk.ReadFile(name, 1<<20)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err == nil {
		err = toml.NewDecoder(bytes.NewReader(kept)).DisallowUnknownFields().Decode(&s)
	}
	if err == nil {
		err = s.check()
	}
	if err != nil {
		return s, fmt.Errorf("%s: %w; correct it, or remove it and choose the devices again", name, err)
	}
	return s, nil
}

func (s Settings) check() error {
	switch {
	case !(s.LimitDB >= minLimitDB && s.LimitDB <= maxLimitDB):
		return fmt.Errorf("limit_db_spl is %g: want %g to %g dB(A)", s.LimitDB, minLimitDB, maxLimitDB)
	case !(s.GainDB >= -90 && s.GainDB <= 0):
		return fmt.Errorf("gain_db is %g: want -90 to 0", s.GainDB)
	case len(s.Outputs) == 0 || slices.Min(s.Outputs) < 1:
		return fmt.Errorf("outputs is %v: name one output or more, counted from 1", s.Outputs)
	}
	return nil
}

// Save writes them.
func (s Settings) Save(dir string) error {
	if err := s.check(); err != nil {
		return err
	}
	b, err := toml.Marshal(s)
	if err != nil {
		return err
	}
	return disk.WriteFile(filepath.Join(dir, SettingsFile), b)
}

// has reports whether a level of that model was found on that fixture that day.
func (s Settings) has(like DayLevel) bool {
	return slices.ContainsFunc(s.Levels, func(l DayLevel) bool {
		return l.Model == like.Model && l.Point == like.Point && l.Fixture == like.Fixture && l.Date == like.Date
	})
}

// dayDriftDB is from where two days' levels of one model are said to differ:
// what seating one headphone again on a fixture moves its A-weighted level by
// stays below it. Common practice, no source.
const dayDriftDB = 1.0

// Compare says how a level check differs from the last one of the same model on
// an earlier day, per channel, at the same gain; empty when nothing can be said.
func (s Settings) Compare(l DayLevel) string {
	for _, old := range slices.Backward(s.Levels) {
		if old.Model != l.Model || old.Point != l.Point || old.Fixture != l.Fixture || old.Date >= l.Date || old.Known != l.Known || len(old.Ears) != len(l.Ears) {
			continue
		}
		out := fmt.Sprintf("%s on the fixture against %s:", cmp.Or(l.Model, "loudspeaker"), old.Date)
		worst := 0.0
		for i, name := range []string{"left", "right"}[:len(l.Ears)] {
			d := (l.Ears[i] - l.GainDB) - (old.Ears[i] - old.GainDB)
			out += finding.Text(" %s %+.1f dB", name, math.Round(10*d)/10+0) // no -0.0
			worst = max(worst, max(d, -d))
		}
		if worst > dayDriftDB {
			out += "; a gain, a cable or the seating changed: find out which, and record the calibrator again before going on"
		}
		return out
	}
	return ""
}

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
	for _, way := range []struct {
		device     audio.Device
		want       int
		what, mend string
	}{{out, slices.Max(s.Outputs), "output", "name outputs that it has (--outputs 1 plays on one), or another device (--playback)"},
		{in, s.Inputs.Highest(), "input", "choose another device (--capture), or touch the microphones again (--setup)"}} {
		if way.device.Channels > 0 && way.want > way.device.Channels {
			return audio.Config{}, fmt.Errorf("%s has %s, and %s %d is asked for: %s", way.device.Name, text.Plural(way.device.Channels, way.what), way.what, way.want, way.mend)
		}
	}
	return audio.Config{Playback: out.ID, Capture: in.ID, RateHz: rate,
		Outputs: max(out.Channels, slices.Max(s.Outputs)), Inputs: max(in.Channels, s.Inputs.Highest(), 1)}, nil
}
