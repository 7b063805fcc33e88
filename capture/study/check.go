package study

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"asworn/capture/sweep"
	"asworn/capture/textfile"
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
		if slices.ContainsFunc(d.problems, func(p textfile.Problem) bool { return p.Line == line }) {
			return true
		}
	}
	return false
}

// parseStudy reads the text of a study.toml.
func parseStudy(file string, text []byte) (*parsedStudy, textfile.Errors) {
	s := &parsedStudy{Study: Default(), doc: &document{file: file, sections: sections()}}
	s.doc.parse(text)
	played := s.doc.has("sweep.file")
	if played {
		s.Sweep = sweep.Design{Repeats: 1, RateHz: s.Sweep.RateHz}
	}
	if s.doc.has("channels") {
		s.Channels = Channels{}
	}
	s.rateGiven = !played || s.doc.has("sweep.rate_hz")
	s.declareFixtures()
	s.doc.assign(&s.Study, "", s.doc.keys)
	s.Title = strings.TrimSpace(s.Title)
	s.checkHolds()
	s.checkSweep(played)
	s.checkChannels()
	return s, s.doc.problems
}

// checkHolds takes over what study.toml says that files hold.
func (s *parsedStudy) checkHolds() {
	if s.Holds == "" {
		return
	}
	holds, ok := ParseHolds(string(s.Holds))
	if !ok {
		s.report("holds", holdsWords, "holds is %q", s.Holds)
	}
	s.Holds = holds
}

// declareFixtures takes over which fixtures study.toml declares, in the order of
// their names, with their defaults.
func (s *parsedStudy) declareFixtures() {
	tables, ok := s.doc.keys[fixturesTable].(map[string]any)
	if !ok {
		return
	}
	report := func(mend, format string, args ...any) {
		s.report(fixturesTable, mend, format, args...)
	}
	for _, name := range slices.Sorted(maps.Keys(tables)) {
		if _, ok := tables[name].(map[string]any); !ok {
			continue // a key: [fixture], misspelt
		}
		switch {
		case !fixtureNames.MatchString(name):
			report("letters, digits, - and _", "[fixtures.%s] is no name for the subject column", printable(name))
			continue
		case strings.EqualFold(name, FixtureSubject):
			report("call it otherwise: "+FixtureSubject+" is the only fixture of a study with one", "[fixtures.%s] among several", name)
			continue
		}
		s.Fixtures = append(s.Fixtures, Fixture{Subject: name, Name: name, MarkMM: DefaultMarkMM})
	}
	if len(s.Fixtures) == 1 {
		report("write [fixture], and "+FixtureSubject+" in the sheet, or declare the other too", "one fixture is declared in [fixtures]")
	}
	if s.doc.has(FixtureSubject) {
		s.report(FixtureSubject, "one of the two: [fixture] alone, or a [fixtures.NAME] for each", "there are [fixture] and [fixtures]")
	}
	s.doc.sections = sectionsOf(s.Fixtures)
}

// report adds a problem at the line of a dotted key, or of its table.
func (s *parsedStudy) report(key, mend, format string, args ...any) {
	table, _, _ := strings.Cut(key, ".")
	s.doc.report(cmp.Or(s.doc.lines[key], s.doc.lines[table]), mend, format, args...)
}

// checkChannels looks for channels that are named twice, and for ears.
func (s *parsedStudy) checkChannels() {
	named := map[int]string{}
	for _, c := range []struct {
		name  string
		value int
	}{{"left", s.Channels.Left}, {"right", s.Channels.Right}, {"loopback", s.Channels.Loopback}} {
		key := "channels." + c.name
		if c.value == 0 {
			continue
		}
		if named[c.value] != "" {
			s.report(key, "give each its own channel", "%s and %s are both %d", named[c.value], key, c.value)
		}
		named[c.value] = key
	}
	if s.doc.has("channels") && !s.doc.has("channels.left") && !s.doc.has("channels.right") {
		s.report("channels", "name left, right or both", "no ear has a channel")
	}
}

// checkSweep holds the keys of the sweep against each other; played says that
// an excitation file is named instead.
func (s *parsedStudy) checkSweep(played bool) {
	if sweep, ok := s.doc.keys["sweep"].(map[string]any); ok {
		if kind, ok := sweep["kind"].(string); ok && kind != exponential {
			s.report("sweep.kind", "write "+exponential+", or name the WAV file that was played as file", "sweep.kind is %q", kind)
		}
	}
	if played {
		for _, k := range []string{"kind", "start_hz", "stop_hz", "seconds", "amplitude", "fade_in_seconds", "fade_out_seconds"} {
			if s.doc.has("sweep." + k) {
				s.report("sweep."+k, "take out one of the two", "sweep.%s describes a sweep, yet sweep.file names an excitation", k)
			}
		}
		return
	}
	for _, f := range s.Sweep.Faults() { // each at the line of its key
		found := f.Found
		if f.Key != "" {
			found = "sweep." + found
		}
		s.report("sweep."+f.Key, cmp.Or(f.Mend, "see docs/study-format.md for the defaults"), "%s", found)
	}
}
