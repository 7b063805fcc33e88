package study

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"asworn/capture/calibrator"
	"asworn/capture/sweep"
)

// setting is one key of study.toml. Reading, checking, writing and the table in
// docs/study-format.md come from what stands here.
type setting struct {
	key      string           // dotted
	at       func(*Study) any // where it is kept: *string, *[]string, *float64 or *int
	file     bool             // a path below the study folder
	def      any              // default, of the type of what at points to; nil for none
	defText  string           // the default in words, where it is no plain value
	min, max float64          // of a number, both included
	whole    bool             // a *float64 that holds whole numbers only
	unit     string
	meaning  string            // stands above the key in a study that is written
	more     string            // follows in the docs
	example  string            // in a new study that leaves the key open; "" leaves it out
	written  func(*Study) bool // whether the key is written; nil: when its value is not zero
}

// section is a table of study.toml.
type section struct {
	name     string // dotted, "" for the keys before all tables
	meaning  string
	settings []setting
}

// Standard uncertainties of a position: no ruler is better than the first, and
// beyond the last nobody looked.
const (
	minPositionMM = 0.05
	maxPositionMM = 20
)

func always(*Study) bool { return true }

// designed reports whether a sweep was played, and no excitation file.
func designed(s *Study) bool { return s.Excitation == "" }

// sections lists all keys in the order in which they are written.
func sections() []section {
	d := sweep.Default()
	out := []section{
		{settings: []setting{
			{key: "title", at: func(s *Study) any { return &s.Title }, defText: "name of the folder", written: always},
			{key: "holds", at: func(s *Study) any { return (*string)(&s.Holds) }, defText: "`\"recording\"`",
				meaning: "what files hold whose row does not say", more: "`recording`, `impulse response` or `curve` ([below](#responses-from-elsewhere))"},
		}},
		{"sweep", "What was played.", []setting{
			{key: "sweep.kind", at: func(*Study) any { kind := exponential; return &kind }, def: exponential, written: designed,
				meaning: "exponential sine sweep with synchronised phase", more: "the only kind"},
			{key: "sweep.file", at: func(s *Study) any { return &s.Excitation }, file: true,
				meaning: "the excitation, one repeat of it", more: fmt.Sprintf("a WAV file of one channel with any signal, instead of a sweep, %d samples in all repeats at most. The keys that describe a sweep must then be left out", sweep.MaxSamples)},
			{key: "sweep.start_hz", at: func(s *Study) any { return &s.Sweep.StartHz }, def: d.StartHz, min: sweep.MinStartHz, max: sweep.MaxRateHz / 2, unit: "Hz", written: designed,
				more: "first frequency"},
			{key: "sweep.stop_hz", at: func(s *Study) any { return &s.Sweep.StopHz }, def: d.StopHz, min: sweep.MinStartHz, max: sweep.MaxRateHz / 2, unit: "Hz", written: designed,
				more: "last frequency, below half the rate"},
			{key: "sweep.seconds", at: func(s *Study) any { return &s.Sweep.Seconds }, def: d.Seconds, min: sweep.MinSeconds, max: sweep.MaxSeconds, unit: "s", written: designed,
				meaning: "length of one sweep", more: fmt.Sprintf("lead, sweeps and gaps have %d samples together at most", sweep.MaxSamples)},
			{key: "sweep.repeats", at: func(s *Study) any { return &s.Sweep.Repeats }, def: d.Repeats, defText: "2; 1 with `file`", min: 1, max: sweep.MaxRepeats,
				more: "sweeps per recording"},
			{key: "sweep.gap_seconds", at: func(s *Study) any { return &s.Sweep.GapSeconds }, def: d.GapSeconds, defText: "1; 0 with `file`", max: sweep.MaxGapSeconds, unit: "s", written: always,
				meaning: "silence after each sweep"},
			{key: "sweep.lead_seconds", at: func(s *Study) any { return &s.Sweep.LeadSeconds }, def: d.LeadSeconds, defText: "0.5; 0 with `file`", max: sweep.MaxLeadSeconds, unit: "s", written: always,
				meaning: "silence before the first sweep: the noise is estimated there"},
			{key: "sweep.rate_hz", at: func(s *Study) any { return &s.Sweep.RateHz }, def: d.RateHz, defText: "48000; the file's with `file`", min: sweep.MinRateHz, max: sweep.MaxRateHz, whole: true, unit: "Hz", written: always,
				more: "rate of playback and of every recording"},
			{key: "sweep.amplitude", at: func(s *Study) any { return &s.Sweep.Amplitude }, defText: "0.5", min: 1e-6, max: 1,
				meaning: "peak of the sweep, full scale = 1"},
			{key: "sweep.fade_in_seconds", at: func(s *Study) any { return &s.Sweep.FadeInSeconds }, defText: "the first half octave", max: sweep.MaxSeconds, unit: "s",
				more: "half-Hann fade"},
			{key: "sweep.fade_out_seconds", at: func(s *Study) any { return &s.Sweep.FadeOutSeconds }, defText: "the last 1/24 octave", max: sweep.MaxSeconds, unit: "s",
				more: "half-Hann fade"},
		}},
		{"channels", "Channels of the recordings, counted from 1.", []setting{
			{key: "channels.left", at: func(s *Study) any { return &s.Channels.Left }, def: 1, min: 1, max: maxChannel,
				more: "microphone. When the table is there, a key that is not stands for a channel that was not recorded; one ear at least"},
			{key: "channels.right", at: func(s *Study) any { return &s.Channels.Right }, def: 2, min: 1, max: maxChannel,
				more: "microphone"},
			{key: "channels.loopback", at: func(s *Study) any { return &s.Channels.Loopback }, min: 1, max: maxChannel, example: "3",
				meaning: "electrical reference recorded beside the microphones"},
		}},
		{"drive", "", []setting{
			{key: "drive.volts_rms", at: func(s *Study) any { return &s.DriveVoltsRMS }, defText: "unknown", min: 1e-6, max: 1000, unit: "V", example: "0.1",
				meaning: "voltage of the sweep at the headphone, for levels in dB re 1 Pa/V", more: "that which the sweep's RMS (`amplitude`/√2) makes; it takes calibrated microphones too"},
		}},
	}
	for e := range Ears {
		out = append(out, microphone(Ear(e)))
	}
	return append(out,
		section{"calibration", "", []setting{
			{key: "calibration.uncertainty_db", at: func(s *Study) any { return &s.CalibrationDB }, defText: "0: not stated", max: 5, unit: "dB", example: "0.3",
				meaning: "standard uncertainty of the level calibration, from the certificates of calibrator and microphones",
				more:    "coverage factor 1: an expanded uncertainty is to be divided by its coverage factor. It enters the budget of the final curve"},
		}},
		fixtureSection(FixtureSubject, func(s *Study) *Fixture { return &s.Fixture }),
		section{"panel", "What earlier studies know of the same listeners and fixture.", []setting{
			{key: "panel.earlier", at: func(s *Study) any { return &s.Earlier }, example: `["../study-2026-03/results/panel.json"]`,
				meaning: "files that runs of earlier studies wrote", more: "a list of paths from this folder, and out of it; the studies themselves are not needed ([earlier-studies.md](earlier-studies.md))"},
		}},
		section{"window", "How much of the impulse response counts, about its onset.", []setting{
			{key: "window.pre_seconds", at: func(s *Study) any { return &s.Window.PreSeconds }, defText: "0.2 at most", min: 1e-5, max: 10, unit: "s",
				more: "before the onset; to compare with somebody else's window, else leave the table out (docs/capture.md)"},
			{key: "window.post_seconds", at: func(s *Study) any { return &s.Window.PostSeconds }, defText: "0.5 at most", min: 1e-3, max: 10, unit: "s",
				more: "after the onset"},
			{key: "window.fade_in_seconds", at: func(s *Study) any { return &s.Window.FadeInSeconds }, defText: "half of `pre_seconds`", min: 1e-6, max: 10, unit: "s",
				more: "half-Hann fade inside it"},
			{key: "window.fade_out_seconds", at: func(s *Study) any { return &s.Window.FadeOutSeconds }, defText: "a quarter of `post_seconds`", min: 1e-6, max: 10, unit: "s",
				more: "half-Hann fade inside it"},
		}},
		section{"limits", "When a fixture seating counts as sitting like the worn ones.", limitSettings()},
		section{"reading", "How well positions are read off a head, where the sheet holds any: standard uncertainties per axis.", []setting{
			{key: "reading.uncertainty_mm", at: func(s *Study) any { return &s.Reading.OneMM }, def: 1.0, min: minPositionMM, max: maxPositionMM, unit: "mm", written: always,
				meaning: "of one reading", more: "the mean of both sides, coverage factor 1 ([below](#read-positions))"},
			{key: "reading.landmark_mm", at: func(s *Study) any { return &s.Reading.LandmarkMM }, def: 0.7, min: minPositionMM, max: maxPositionMM, unit: "mm", written: always,
				meaning: "of finding the canal's entrance on a listener, the same in all readings on that head"},
			{key: "reading.fixture_landmark_mm", at: func(s *Study) any { return &s.Reading.FixtureLandmarkMM }, def: 0.5, min: minPositionMM, max: maxPositionMM, unit: "mm", written: always,
				meaning: "the same of one finding on the fixture"},
		}})
}

func limitSettings() []setting {
	return []setting{
		{key: "limits.max_offset_mm", at: func(s *Study) any { return &s.Limits.MaxOffsetMM }, def: 3.0, min: 0.1, max: 50, unit: "mm", written: always,
			meaning: "an offset below this is as good as none"},
		{key: "limits.confidence", at: func(s *Study) any { return &s.Limits.Confidence }, def: 0.95, min: 0.6, max: 0.9999, written: always,
			meaning: "of tests and intervals"},
	}
}

func microphone(e Ear) section {
	name := "microphone." + e.String()
	mic := func(s *Study) *MicrophoneFiles { return &s.Microphones[e] }
	return section{name, "", []setting{
		{key: name + ".correction", at: func(s *Study) any { return &mic(s).Correction }, file: true, example: `"calibration/mic-` + e.String() + `.csv"`,
			meaning: "frequency_hz,level_db[,phase_deg]", more: "CSV file of the microphone's own response, which is divided out"},
		{key: name + ".calibrator", at: func(s *Study) any { return &mic(s).Calibrator }, file: true, example: `"calibration/cal-` + e.String() + `.wav"`,
			meaning: "recording of the calibrator on this microphone, with the gain of the study", more: "one channel, or the channels of the study"},
		{key: name + ".calibrator_after", at: func(s *Study) any { return &mic(s).CalibratorAfter }, file: true,
			meaning: "the same, recorded again at the end of the study", more: "levels are by the mean of both, and the drift is reported"},
		{key: name + ".calibrator_db_spl", at: func(s *Study) any { return &mic(s).CalibratorDBSPL }, def: calibrator.DefaultDBSPL, min: 40, max: 160, unit: "dB re 20 µPa", example: "94.0",
			written: func(s *Study) bool { return mic(s).Calibrator != "" },
			meaning: "level of the calibrator"},
	}}
}

// DefaultMarkMM is how well stops or tape on the fixture hold the marked
// position, mm per axis. Common practice, no source.
const DefaultMarkMM = 0.5

// exponential is the only kind of sweep.
const exponential = "exponential"

// maxChannel is the highest channel that a recording can have here.
const maxChannel = 128

// Default returns a study with every default, and without rows.
func Default() Study {
	var s Study
	for _, section := range sections() {
		for _, k := range section.settings {
			switch to := k.at(&s).(type) {
			case *string:
				if v, ok := k.def.(string); ok {
					*to = v
				}
			case *float64:
				if v, ok := k.def.(float64); ok {
					*to = v
				}
			case *int:
				if v, ok := k.def.(int); ok {
					*to = v
				}
			}
		}
	}
	return s
}

const fixturesTable = "fixtures"

// fixtureSection is the table of one fixture: [fixture], or [fixtures.NAME].
func fixtureSection(name string, of func(*Study) *Fixture) section {
	def := name[strings.LastIndexByte(name, '.')+1:]
	return section{name, "", []setting{
		{key: name + ".name", at: func(s *Study) any { return &of(s).Name }, def: def, written: always},
		{key: name + ".coupler", at: func(s *Study) any { return &of(s).Coupler }, example: `"IEC 60318-4"`,
			meaning: "what the fixture's ear is, free text"},
		{key: name + ".reference", at: func(s *Study) any { return &of(s).Reference }, file: true, example: `"calibration/diffuse-field.csv"`,
			meaning: "response at the drum reference point; it belongs to this fixture alone", more: "a CSV file ([below](#curves)) that the fixture's curve is compared with"},
		{key: name + ".slope_db_per_octave", at: func(s *Study) any { return &of(s).SlopeDBPerOctave }, def: 0.0, min: -20, max: 20, unit: "dB per octave", written: always,
			meaning: "extra tilt of the reference about 1 kHz; yours to choose"},
		{key: name + ".mark_mm", at: func(s *Study) any { return &of(s).MarkMM }, def: DefaultMarkMM, min: minPositionMM, max: maxPositionMM, unit: "mm",
			meaning: "standard uncertainty per axis of finding the marked position again between the survey at the blocked ear-canal entrance and that at the drum", more: "0.5 mm is a working assumption (common practice, no source)"},
	}}
}

// sectionsOf lists the keys of a study with these fixtures beside the usual.
func sectionsOf(fixtures []Fixture) []section {
	out := sections()
	if len(fixtures) == 0 {
		return out
	}
	at := slices.IndexFunc(out, func(s section) bool { return s.name == FixtureSubject })
	var several []section
	for i, f := range fixtures {
		several = append(several, fixtureSection(fixturesTable+"."+f.Subject, func(s *Study) *Fixture { return &s.Fixtures[i] }))
	}
	return slices.Replace(out, at, at+1, several...)
}

// Check reports a limit that is outside the range of its key in study.toml. The error
// names the key, its value and the range; nil when both are possible.
func (l Limits) Check() error {
	var errs []error
	for _, k := range limitSettings() {
		if v := *k.at(&Study{Limits: l}).(*float64); !(v >= k.min && v <= k.max) {
			errs = append(errs, fmt.Errorf("%s is %g: must be %s", k.key, v, k.bounds()))
		}
	}
	return errors.Join(errs...)
}
