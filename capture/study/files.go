package study

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"asworn/capture/curve"
	"asworn/capture/sweep"
	"asworn/capture/textfile"
	"asworn/capture/wavfile"
)

// checkFiles looks at every file that the study names, and takes the rate from
// the excitation file where study.toml leaves it open.
func (s *Study) checkFiles(p *parsedStudy, partial bool) textfile.Errors {
	before := len(p.doc.problems)
	if s.Excitation != "" {
		f, frames, ok := s.header(p, "sweep.file", s.Excitation)
		switch {
		case !ok:
		case !p.rateGiven:
			s.Sweep.RateHz = float64(f.RateHz)
		case float64(f.RateHz) != s.Sweep.RateHz:
			p.report("sweep.file", "write the rate of the file", "%s has %d Hz, yet sweep.rate_hz is %g", s.Excitation, f.RateHz, s.Sweep.RateHz)
		}
		if n := frames * int64(max(1, s.Sweep.Repeats)); ok && n > sweep.MaxSamples {
			p.report("sweep.file", "shorten it, or lower repeats", "%s has %d samples in all repeats; an excitation has %d at most", s.Excitation, n, sweep.MaxSamples)
		}
		if ok && f.Channels != 1 {
			p.report("sweep.file", "save one channel of it", "%s has %d channels; an excitation has one", s.Excitation, f.Channels)
		}
	}
	for e, m := range s.Microphones {
		key := "microphone." + Ear(e).String()
		channel := [2]int{s.Channels.Left, s.Channels.Right}[e]
		if m.Correction != "" {
			s.curve(p, key+".correction", m.Correction)
		}
		if m.Calibrator == "" && m.CalibratorAfter != "" {
			p.report(key+".calibrator_after", "name the first recording as calibrator", "there is no calibrator to compare it with")
		}
		for i, file := range [2]string{m.Calibrator, m.CalibratorAfter} {
			if file == "" {
				continue
			}
			name := [2]string{".calibrator", ".calibrator_after"}[i]
			f, _, ok := s.header(p, key+name, file)
			if ok && float64(f.RateHz) != s.Sweep.RateHz {
				p.report(key+name, "record the calibrator with the settings of the study", "%s has %d Hz, the study %g", file, f.RateHz, s.Sweep.RateHz)
			}
			if ok && f.Channels > 1 && f.Channels < channel {
				p.report(key+name, "record the channel of the "+Ear(e).String()+" microphone", "%s has %d channels, and the microphone is on channel %d", file, f.Channels, channel)
			}
		}
	}
	if len(s.Fixtures) == 0 {
		s.checkReference(p, FixtureSubject, s.Fixture)
	}
	for _, f := range s.Fixtures {
		s.checkReference(p, fixturesTable+"."+f.Subject, f)
	}
	problems := append(textfile.Errors(nil), p.doc.problems[before:]...)
	channels := s.Channels.Highest()
	if p.doubtful("channels") {
		channels = 0
	}
	return append(problems, s.checkRecordings(partial, channels)...)
}

// checkReference reads a fixture's reference, and sees to it that it is that of no
// other.
func (s *Study) checkReference(p *parsedStudy, table string, f Fixture) {
	if f.Reference == "" {
		return
	}
	fixture := s.curve(p, table+".reference", f.Reference)
	if fixture != "" && !strings.EqualFold(fixture, f.Name) {
		p.report(table+".reference", "a reference is never carried to another fixture: name the one of this fixture, or correct "+table+".name",
			"%s belongs to %q, and this study was made on %q", f.Reference, fixture, f.Name)
	}
	for _, other := range s.Fixtures {
		if other.Subject < f.Subject && s.sameCurve(other.Reference, f.Reference) {
			p.report(table+".reference", "measure or find that of each fixture", "%s is the reference of fixture %s too: a reference belongs to one", f.Reference, other.Subject)
		}
	}
}

// sameCurve reports whether two curve files hold the same levels, whatever they are called.
func (s *Study) sameCurve(a, b string) bool {
	if a == "" || b == "" {
		return false
	}
	x, err := curve.ReadCSV(s.join(a))
	y, err2 := curve.ReadCSV(s.join(b))
	return a == b || err == nil && err2 == nil && slices.Equal(x.Hz, y.Hz) && slices.Equal(x.DB, y.DB)
}

// Files are the files that the study names, each once in the order of its settings
// and rows: all that its results follow from, but for what a person writes
// (study.toml and the sheets) and Earlier. Relative to Dir, with slashes.
func (s *Study) Files() []string {
	names := s.SettingsFiles()
	for _, row := range s.Seatings { // each is of one row
		names = append(names, row.Files()...)
	}
	return names
}

// SettingsFiles are those of Files that study.toml names.
func (s *Study) SettingsFiles() (names []string) {
	add := func(files ...string) {
		for _, f := range files {
			if f != "" && !slices.Contains(names, f) {
				names = append(names, f)
			}
		}
	}
	add(s.Excitation, s.Fixture.Reference)
	for _, m := range s.Microphones {
		add(m.Correction, m.Calibrator, m.CalibratorAfter)
	}
	for _, f := range s.Fixtures {
		add(f.Reference)
	}
	return names
}

// header reads the header of a WAV file that study.toml names.
func (s *Study) header(p *parsedStudy, key, file string) (f wavfile.Format, frames int64, ok bool) {
	r, err := wavfile.Open(s.join(file))
	if err != nil {
		message, mend := explain(err)
		p.report(key, mend, "%s: %s", file, message)
		return f, 0, false
	}
	defer r.Close()
	return r.Format(), r.Frames(), true
}

// curve checks a CSV that study.toml names, and returns the fixture it names.
func (s *Study) curve(p *parsedStudy, key, file string) (fixture string) {
	if _, err := os.Stat(s.join(file)); err != nil {
		message, mend := explain(err)
		p.report(key, mend, "%s: %s", file, message)
		return ""
	}
	_, fixture, problems := curve.ReadCSVOf(s.join(file))
	p.doc.problems = append(p.doc.problems, problems...)
	return fixture
}

// explain splits an error of opening a file into finding and mend.
func explain(err error) (message, mend string) {
	var bad *wavfile.Error
	switch {
	case errors.As(err, &bad):
		return bad.Message, bad.Mend
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file", "correct the path, or put the file there"
	default:
		return textfile.Reason(err), "see that it is a file which you may read"
	}
}

// checkRecordings reads the header of every recording and holds it against the
// channels that there must be. Another rate than the study's is found when the
// recording is processed, and keeps only that recording out.
func (s *Study) checkRecordings(partial bool, channels int) (problems textfile.Errors) {
	sheet := filepath.Join(s.Dir, SheetFile)
	var there []Seating
	for _, row := range s.Seatings {
		report := func(err error, mend, message string) {
			problems = append(problems, textfile.Problem{File: sheet, Line: row.Row, Item: row.File, Message: message, Mend: mend, Err: err})
		}
		missing, err := s.checkFile(row, channels, report)
		if missing && partial {
			s.NotRecorded = append(s.NotRecorded, row)
			continue
		}
		there = append(there, row)
		if err != nil {
			message, mend := explain(err)
			if missing {
				mend = "record it, correct the path, or take the row out"
			}
			report(err, mend, message)
		}
	}
	s.Seatings = there
	return problems
}

// checkFile looks at the file or the files of a row; what is wrong inside it is
// reported.
func (s *Study) checkFile(row Seating, channels int, report func(err error, mend, message string)) (missing bool, err error) {
	if row.Holds == HoldsCurve {
		return s.checkCurves(row, report)
	}
	r, err := wavfile.Open(s.join(row.File))
	if err != nil {
		return errors.Is(err, fs.ErrNotExist), err
	}
	f := r.Format()
	r.Close()
	if row.Holds == HoldsImpulse {
		channels = max(s.Channels.Left, s.Channels.Right) // no loopback beside a response
	}
	if f.Channels < channels {
		report(nil, "record all channels, or correct [channels] in "+SettingsFile,
			fmt.Sprintf("the recording has %s, and %s names channel %d", plural(f.Channels, "channel"), SettingsFile, channels))
	}
	return false, nil
}

// checkCurves reads the curves of a row; those of two ears need two files.
func (s *Study) checkCurves(row Seating, report func(err error, mend, message string)) (missing bool, err error) {
	both := s.Channels.Left > 0 && s.Channels.Right > 0
	files := row.Files()
	if both && len(files) == 1 {
		report(nil, `name one file for each ear, left before right: "curves/l01-{L|R}.txt"`, "it holds the curve of one ear, and the study has two")
	}
	for _, f := range files {
		if _, err := os.Stat(s.join(f)); err != nil {
			return errors.Is(err, fs.ErrNotExist), err
		}
		if _, err := curve.ReadText(s.join(f)); err != nil {
			report(err, "see the line, or leave the row out", err.Error())
		}
	}
	return false, nil
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
