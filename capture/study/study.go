// Package study holds what was recorded and how, as values and on disk: the
// rows of the sheet, the settings of study.toml, curve files, the microphones
// and the calibrator. It reads, checks and writes those files and says in which
// line something is wrong. Of recordings it reads the heads alone; it does not
// know how a recording becomes a response, nor anything of statistics.
package study

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture/disk"
	"asworn/capture/sweep"
	"asworn/capture/textfile"
)

// Names of the two files that make a folder a study.
const (
	SettingsFile = "study.toml"
	SheetFile    = "seatings.csv"
)

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
	// Elsewhere are the files of rows that another fixture sees (For).
	Elsewhere []string
	// NotRecorded are the rows whose recording is not there, left out of
	// Seatings; only LoadPartial leaves any.
	NotRecorded []Seating
}

// Channels are 1-based channels of the recordings; 0 for none.
type Channels struct {
	Left, Right, Loopback int
}

// MicrophoneFiles says where the calibration of one ear's microphone is kept.
type MicrophoneFiles struct {
	Correction      string  // CSV, see curve.ReadCSV; empty when there is none
	Calibrator      string  // WAV; empty when there is none
	CalibratorAfter string  // WAV of a second time, to see whether the gain stayed; empty when there is none
	CalibratorDBSPL float64 // level of the calibrator, dB re 20 µPa; default 94
}

// Limits are the criteria of the verdict.
type Limits struct {
	MaxOffsetMM float64 `json:"max_offset_mm"` // an offset below this is as good as none; default 3
	Confidence  float64 `json:"confidence"`    // of tests and intervals; default 0.95
}

// Check reports a limit that is outside the range of its key in study.toml.
func (l Limits) Check() error {
	var errs []error
	for _, k := range limitSettings() {
		if v := *k.at(&Study{Limits: l}).(*float64); !(v >= k.min && v <= k.max) {
			errs = append(errs, fmt.Errorf("%s is %g: must be %s", k.key, v, k.bounds()))
		}
	}
	return errors.Join(errs...)
}

// ReadingUncertainty says how well positions are read off a head
// (Seating.Read), as standard uncertainties per axis in mm (coverage factor 1).
type ReadingUncertainty struct {
	OneMM             float64 // of one reading; default 1
	LandmarkMM        float64 // of finding the ear canal's entrance on a listener, the same in all readings on that head; default 0.7
	FixtureLandmarkMM float64 // the same on the fixture; default 0.5
}

// Load reads the study in a folder and checks everything that can be
// checked without listening to a recording: keys, numbers, rows, and that each
// file is there, is what it should be and is whole. It returns everything that
// is wrong at once, as [Errors]. Of a study with several fixtures an address ([At])
// gives the part that one of them sees.
func Load(address string) (*Study, error) { return load(address, false) }

// LoadPartial is Load for a study that is still being recorded: rows
// whose file is not there are put into NotRecorded.
func LoadPartial(address string) (*Study, error) { return load(address, true) }

func load(address string, partial bool) (*Study, error) {
	dir, fixture := Split(address)
	if info, err := os.Stat(dir); err != nil {
		return nil, fmt.Errorf("study folder: %w", err)
	} else if !info.IsDir() {
		return nil, fmt.Errorf("%s is a file; name the folder that holds %s", dir, SettingsFile)
	}
	var problems textfile.Errors
	toml, err := disk.ReadFile(filepath.Join(dir, SettingsFile), maxSettings)
	if err != nil {
		problems = append(problems, textfile.Missing(filepath.Join(dir, SettingsFile), err))
	}
	parsed, bad := parseStudy(filepath.Join(dir, SettingsFile), toml)
	parsed.missing = err != nil
	problems = append(problems, bad...)
	s := parsed.Study
	s.Dir = dir
	if s.Title == "" {
		s.Title = filepath.Base(filepath.Clean(dir))
	}
	sheet, err := disk.ReadFile(filepath.Join(dir, SheetFile), textfile.MaxBytes)
	if err != nil {
		problems = append(problems, textfile.Missing(filepath.Join(dir, SheetFile), err))
	} else {
		s.Seatings, bad = parseSheetOf(filepath.Join(dir, SheetFile), sheet, s.Holds, s.Fixtures)
		s.Holds = HoldsRecording // every row has its own now
		problems = append(problems, bad...)
		if len(bad) == 0 {
			problems = append(problems, s.readReadings()...)
		}
	}
	problems = append(problems, s.checkFiles(parsed, partial)...)
	if err := problems.Sorted(); err != nil {
		return nil, err
	}
	if fixture != "" {
		return s.For(fixture)
	}
	return &s, nil
}

// maxSettings bounds study.toml: go-toml looks for each fault from the start.
const maxSettings = 64 << 10

// HasListeners reports whether people take part, in rows that are recorded or are not.
func (s *Study) HasListeners() bool {
	worn := func(r Seating) bool { return !r.OnFixture() }
	return slices.ContainsFunc(s.Seatings, worn) || slices.ContainsFunc(s.NotRecorded, worn)
}
