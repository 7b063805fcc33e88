// Package study holds what was recorded and how, as values and on disk: the
// rows of the sheet, the settings of study.toml, the microphones. It reads,
// checks and writes those files and says in which line something is wrong. Of
// recordings it reads the heads alone; it does not know how a recording becomes a
// response, nor anything of statistics.
package study

import (
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"asworn/capture/sweep"
)

// Names of the two files that make a folder a study.
const (
	SettingsFile = "study.toml"
	SheetFile    = "seatings.csv"
)

// maxSettings bounds study.toml: go-toml looks for each fault from the start.
const maxSettings = 64 << 10

// Study is what was recorded: study.toml with its defaults filled in, and the
// rows of seatings.csv. docs/study-format.md tells every key and column. Paths
// are relative to Dir, with slashes.
type Study struct {
	Dir   string
	Title string // default: the name of the folder
	// Holds is what files hold whose rows do not say; Load gives it to the rows and
	// leaves it empty.
	Holds Holds
	// Earlier are the files in which earlier runs say what is known of the same
	// panel, as study.toml names them: relative to Dir and possibly outside it, or absolute.
	Earlier []string

	// Sweep is what was played. With Excitation only its RateHz, Repeats,
	// GapSeconds and LeadSeconds count.
	Sweep sweep.Design
	// Excitation is the WAV file that was played instead, one repeat of it; or
	// empty.
	Excitation string

	Channels      Channels
	DriveVoltsRMS float64 // voltage at the headphone that the sweep's RMS makes; 0 when unknown
	Microphones   [2]MicrophoneFiles
	// CalibrationDB is the standard uncertainty of the level calibration in dB,
	// from the certificates of calibrator and microphones; 0 when not stated.
	CalibrationDB float64
	Fixture       Fixture
	Fixtures      []Fixture // where the study has several; Fixture then is that of For
	Window        Window    // zero fields take their default
	Limits        Limits
	Reading       ReadingUncertainty

	Seatings []Seating
	Readings []ReadingRow // of readings.csv, where there is one
	NotRead  []ReadingRow // rows of it that are planned and hold no figures yet
	// Elsewhere are the files of rows that another fixture sees (seenBy).
	Elsewhere []string
	// NotRecorded are the rows whose recording is not there, left out of
	// Seatings; only LoadPartial leaves any.
	NotRecorded []Seating
}

// Channels are 1-based channels of the recordings; 0 for none.
type Channels struct {
	Left, Right, Loopback int
}

// Of is the channel of an ear's microphone. It is counted from 1; 0 for none.
func (c Channels) Of(e Ear) int { return [2]int{c.Left, c.Right}[e] }

// Highest is how many channels a file has at the least. Channels count from 1.
func (c Channels) Highest() int { return max(c.Left, c.Right, c.Loopback) }

// MicrophoneFiles says where the calibration of one ear's microphone is kept.
type MicrophoneFiles struct {
	Correction      string  // CSV, see curve.ReadCSV; empty when there is none
	Calibrator      string  // WAV; empty when there is none
	CalibratorAfter string  // WAV of a second time, to see whether the gain stayed; empty when there is none
	CalibratorDBSPL float64 // level of the calibrator, dB re 20 µPa; default 94
}

// Fixture describes one fixture.
type Fixture struct {
	// Subject is what the subject column calls it, where a study has several;
	// empty for the only one, which the sheet calls FixtureSubject.
	Subject string
	Name    string // default: the subject, or "fixture"
	Coupler string // free text
	// Reference is the CSV of the response at the drum reference point with
	// which the fixture's curve is compared; empty when there is none.
	Reference        string
	SlopeDBPerOctave float64 // extra tilt of the reference about 1 kHz, dB per octave
	// MarkMM is the standard uncertainty, mm per axis, of finding the marked
	// position again between the survey at the blocked entrance and that at the
	// drum; default 0.5.
	MarkMM float64
}

// Window says how the linear response is cut out of the impulse response: from
// PreSeconds before the direct sound to PostSeconds after it, with half-Hann
// fades. A zero field takes the default, which depends on the excitation; see
// docs/capture.md.
type Window struct {
	PreSeconds, PostSeconds, FadeInSeconds, FadeOutSeconds float64
}

// Limits are the criteria of the verdict.
type Limits struct {
	MaxOffsetMM float64 `json:"max_offset_mm"` // an offset below this is as good as none; default 3
	Confidence  float64 `json:"confidence"`    // of tests and intervals, a probability; default 0.95
}

// ReadingUncertainty says how well positions are read off a head
// (Seating.Read), as standard uncertainties per axis in mm (coverage factor 1).
type ReadingUncertainty struct {
	OneMM             float64 // of one reading; default 1
	LandmarkMM        float64 // of finding the ear canal's entrance on a listener, the same in all readings on that head; default 0.7
	FixtureLandmarkMM float64 // the same of one finding on the fixture; default 0.5
}

// HasListeners reports whether people take part, in rows that are recorded or are not.
func (s *Study) HasListeners() bool {
	worn := func(r Seating) bool { return !r.OnFixture() }
	return slices.ContainsFunc(s.Seatings, worn) || slices.ContainsFunc(s.NotRecorded, worn)
}

// fixtureNames are those that the subject column can hold beside listeners' ids.
var fixtureNames = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]*$`)

// isFixture reports whether the subject column's name is that of a fixture, and
// how it is spelt.
func isFixture(subject string, fixtures []Fixture) (string, bool) {
	if len(fixtures) == 0 {
		return FixtureSubject, strings.EqualFold(subject, FixtureSubject)
	}
	for _, f := range fixtures {
		if strings.EqualFold(subject, f.Subject) {
			return f.Subject, true
		}
	}
	return "", false
}

// join returns the path of a file of the study.
func (s *Study) join(file string) string { return filepath.Join(s.Dir, filepath.FromSlash(file)) }

// below cleans a path and reports whether it stays in the folder that it is
// relative to. Backslashes count as slashes, for sheets that Windows made.
func below(p string) (string, bool) {
	p = strings.TrimSpace(strings.ReplaceAll(p, `\`, "/"))
	if p == "" || !filepath.IsLocal(filepath.FromSlash(p)) || path.Clean(p) == "." {
		return "", false
	}
	return path.Clean(p), true
}
