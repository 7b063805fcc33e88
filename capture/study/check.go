package study

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"asworn/capture/sweep"
)

// parsedStudy is what study.toml says, checked as far as that needs no other
// file.
type parsedStudy struct {
	Study
	doc *document
	// rateGiven is false when the rate is the excitation file's to say.
	rateGiven bool
	missing   bool // there is no such file
}

// doubtful reports whether something is wrong in a table of study.toml. Then
// recordings are not held against it: one mistake makes one line, not one per
// recording.
func (s *parsedStudy) doubtful(table string) bool {
	d := s.doc
	if s.missing || (d.lines == nil && len(d.problems) > 0) || d.strayTable {
		return true
	}
	for key, line := range d.lines {
		if key != table && !strings.HasPrefix(key, table+".") {
			continue
		}
		if slices.ContainsFunc(d.problems, func(p Problem) bool { return p.Line == line }) {
			return true
		}
	}
	return false
}

// Standard uncertainties of a read position: no ruler is better than the
// first, and beyond the last nobody looked.
const (
	minReadingMM = 0.05
	maxReadingMM = 20
)

// parseStudy reads the text of a study.toml.
func parseStudy(file string, text []byte) (*parsedStudy, Errors) {
	s := &parsedStudy{Study: Default(), doc: &document{file: file}}
	s.doc.decode(text)
	k := s.doc.keys
	set(&s.Title, k.Title)
	s.Title = strings.TrimSpace(s.Title)
	s.sweep(or(k.Sweep))
	s.channels(k.Channels)
	s.DriveVoltsRMS = s.number("drive.volts_rms", or(k.Drive).VoltsRMS, 0, 1e-6, 1000)
	mics := or(k.Microphone)
	for e, m := range []earKeys{or(mics.Left), or(mics.Right)} {
		name := "microphone." + Ear(e).String()
		files := &s.Microphones[e]
		files.Correction = s.path(name+".correction", m.Correction)
		files.Calibrator = s.path(name+".calibrator", m.Calibrator)
		files.CalibratorAfter = s.path(name+".calibrator_after", m.CalibratorAfter)
		files.CalibratorDBSPL = s.number(name+".calibrator_db_spl", m.CalibratorDBSPL, DefaultCalibratorDBSPL, 40, 160)
	}
	s.CalibrationDB = s.number("calibration.uncertainty_db", or(k.Calibration).UncertaintyDB, 0, 0, 5)
	f := or(k.Fixture)
	set(&s.Fixture.Name, f.Name)
	set(&s.Fixture.Coupler, f.Coupler)
	s.Fixture.Reference = s.path("fixture.reference", f.Reference)
	s.Fixture.SlopeDBPerOctave = s.number("fixture.slope_db_per_octave", f.Slope, 0, -20, 20)
	w := or(k.Window)
	s.Window.PreSeconds = s.number("window.pre_seconds", w.Pre, 0, 1e-5, 10)
	s.Window.PostSeconds = s.number("window.post_seconds", w.Post, 0, 1e-3, 10)
	s.Window.FadeInSeconds = s.number("window.fade_in_seconds", w.FadeIn, 0, 1e-6, 10)
	s.Window.FadeOutSeconds = s.number("window.fade_out_seconds", w.FadeOut, 0, 1e-6, 10)
	l := or(k.Limits)
	s.Limits.MaxOffsetMM = s.number("limits.max_offset_mm", l.MaxOffsetMM, DefaultMaxOffsetMM, 0.1, 50)
	s.Limits.Confidence = s.number("limits.confidence", l.Confidence, DefaultConfidence, 0.5, 0.9999)
	r := or(k.Reading)
	s.Reading.OneMM = s.number("reading.uncertainty_mm", r.UncertaintyMM, DefaultReadingMM, minReadingMM, maxReadingMM)
	s.Reading.LandmarkMM = s.number("reading.landmark_mm", r.LandmarkMM, DefaultLandmarkMM, minReadingMM, maxReadingMM)
	s.Reading.FixtureLandmarkMM = s.number("reading.fixture_landmark_mm", r.FixtureLandmarkMM, DefaultFixtureLandmarkMM, minReadingMM, maxReadingMM)
	return s, s.doc.problems
}

// or returns what p points to, or the zero value.
func or[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

func set[T any](to, p *T) {
	if p != nil {
		*to = *p
	}
}

// report adds a problem at the line of a dotted key, or of its table.
func (s *parsedStudy) report(key, mend, format string, args ...any) {
	table, _, _ := strings.Cut(key, ".")
	s.doc.report(cmp.Or(s.doc.lines[key], s.doc.lines[table]), mend, format, args...)
}

// number returns a value between lo and hi, or the default when it is not given
// or impossible.
func (s *parsedStudy) number(key string, v *float64, def, lo, hi float64) float64 {
	if v == nil {
		return def
	}
	if !(*v >= lo && *v <= hi) {
		s.report(key, fmt.Sprintf("write a number, %g to %g", lo, hi), "%s is %g: impossible", key, *v)
		return def
	}
	return *v
}

// path returns a cleaned path below the study folder, or nothing.
func (s *parsedStudy) path(key string, v *string) string {
	if v == nil {
		return ""
	}
	p, ok := below(*v)
	if !ok {
		s.report(key, "put the file into the study folder and name it from there", "%s is %q, which is not below the study folder", key, *v)
	}
	return p
}

// below cleans a path and reports whether it stays in the folder that it is
// relative to. Backslashes count as slashes, for sheets that Windows made.
func below(p string) (string, bool) {
	p = strings.TrimSpace(strings.ReplaceAll(p, `\`, "/"))
	if p == "" || !filepath.IsLocal(filepath.FromSlash(p)) || path.Clean(p) == "." {
		return "", false
	}
	return path.Clean(p), true
}

func (s *parsedStudy) channels(k *channelKeys) {
	if k == nil {
		return
	}
	s.Channels = Channels{or(k.Left), or(k.Right), or(k.Loopback)}
	named := map[int]string{}
	for _, c := range []struct {
		name string
		v    *int
	}{{"left", k.Left}, {"right", k.Right}, {"loopback", k.Loopback}} {
		key := "channels." + c.name
		switch {
		case c.v == nil:
		case *c.v < 1 || *c.v > 128:
			s.report(key, "channels count from 1; leave out one that was not recorded", "%s is %d: impossible", key, *c.v)
		case named[*c.v] != "":
			s.report(key, "give each its own channel", "%s and %s are both %d", named[*c.v], key, *c.v)
		default:
			named[*c.v] = key
		}
	}
	if k.Left == nil && k.Right == nil {
		s.report("channels", "name left, right or both", "no ear has a channel")
	}
}

func (s *parsedStudy) sweep(k sweepKeys) {
	const exponential = "exponential"
	if k.Kind != nil && *k.Kind != exponential {
		s.report("sweep.kind", "write "+exponential+", or name the WAV file that was played as file", "sweep.kind is %q", *k.Kind)
	}
	s.rateGiven = k.RateHz != nil || k.File == nil
	d := &s.Sweep
	if k.File != nil {
		s.Excitation = s.path("sweep.file", k.File)
		*d = sweep.Design{Repeats: 1, RateHz: d.RateHz}
		for _, extra := range []struct {
			key   string
			given bool
		}{
			{"kind", k.Kind != nil}, {"start_hz", k.StartHz != nil}, {"stop_hz", k.StopHz != nil}, {"seconds", k.Seconds != nil},
			{"amplitude", k.Amplitude != nil}, {"fade_in_seconds", k.FadeIn != nil}, {"fade_out_seconds", k.FadeOut != nil},
		} {
			if extra.given {
				s.report("sweep."+extra.key, "take out one of the two", "sweep.%s describes a sweep, yet sweep.file names an excitation", extra.key)
			}
		}
	}
	set(&d.StartHz, k.StartHz)
	set(&d.StopHz, k.StopHz)
	set(&d.Seconds, k.Seconds)
	set(&d.Repeats, k.Repeats)
	set(&d.GapSeconds, k.GapSeconds)
	set(&d.LeadSeconds, k.LeadSeconds)
	set(&d.RateHz, k.RateHz)
	set(&d.Amplitude, k.Amplitude)
	set(&d.FadeInSeconds, k.FadeIn)
	set(&d.FadeOutSeconds, k.FadeOut)
	if k.RateHz != nil && *k.RateHz != math.Trunc(*k.RateHz) {
		s.report("sweep.rate_hz", "write the recorder's rate in hertz", "sweep.rate_hz is %g, not a whole number", *k.RateHz)
	}
	check := *d
	if k.File != nil { // the keys that count with a file, among values that pass
		check = sweep.Default()
		check.StopHz = min(check.StopHz, d.RateHz*0.45)
		check.Repeats, check.GapSeconds, check.LeadSeconds, check.RateHz = d.Repeats, d.GapSeconds, d.LeadSeconds, d.RateHz
	}
	// A zero means "default" to a Design, but nobody writes one to say so.
	for _, z := range []struct {
		key  string
		zero bool
	}{{"repeats", k.Repeats != nil && *k.Repeats == 0}, {"amplitude", k.Amplitude != nil && *k.Amplitude == 0}} {
		if z.zero {
			s.report("sweep."+z.key, "leave it out for the default", "sweep.%s is 0: impossible", z.key)
		}
	}
	s.sweepErrors(check.Validate())
}

// sweepErrors places what is wrong with the sweep at the lines of its keys.
func (s *parsedStudy) sweepErrors(err error) {
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return
	}
	for _, e := range joined.Unwrap() {
		message := strings.TrimPrefix(e.Error(), "sweep: ")
		key, _, _ := strings.Cut(message, " ")
		message, mend, _ := strings.Cut(message, ": ")
		if slices.Contains(children(typeOf([]string{"sweep"})), key) {
			message = "sweep." + message
		}
		s.report("sweep."+key, cmp.Or(mend, "see docs/study-format.md for the defaults"), "%s", message)
	}
}
