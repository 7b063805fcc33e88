package study

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"asworn/capture/disk"
)

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
	SlopeDBPerOctave float64 // extra tilt of the reference about 1 kHz
	// MarkMM is the standard uncertainty, mm per axis, of finding the marked
	// position again between the survey at the blocked entrance and that at the
	// drum; default 0.5.
	MarkMM float64
}

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

const fixturesTable = "fixtures"

// fixtureNames are those that the subject column can hold beside listeners' ids.
var fixtureNames = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]*$`)

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

// For returns the part of a study with several fixtures that one of them sees:
// the panel's rows and its own, as a study with that fixture alone. The error
// names the fixtures that there are.
func (s *Study) For(fixture string) (*Study, error) {
	at := slices.IndexFunc(s.Fixtures, func(f Fixture) bool { return strings.EqualFold(f.Subject, fixture) })
	if at < 0 {
		var names []string
		for _, f := range s.Fixtures {
			names = append(names, f.Subject)
		}
		if names == nil {
			return nil, fmt.Errorf("%s declares no fixture %q: it has one only", filepath.Join(s.Dir, SettingsFile), fixture)
		}
		return nil, fmt.Errorf("%s declares no fixture %q; it declares %s", filepath.Join(s.Dir, SettingsFile), fixture, strings.Join(names, ", "))
	}
	out := *s
	out.Fixture, out.Fixtures = s.Fixtures[at], nil
	own := func(rows []Seating) (kept []Seating) {
		for _, r := range rows {
			switch name, other := isFixture(r.Subject, s.Fixtures); {
			case !other:
			case name == out.Fixture.Subject:
				r.Subject = FixtureSubject
			default:
				out.Elsewhere = append(out.Elsewhere, r.Files()...)
				continue
			}
			kept = append(kept, r)
		}
		return kept
	}
	out.Seatings, out.NotRecorded = own(s.Seatings), own(s.NotRecorded)
	out.Readings = nil
	for _, r := range s.Readings {
		switch name, other := isFixture(r.Subject, s.Fixtures); {
		case !other:
		case name == out.Fixture.Subject:
			r.Subject = FixtureSubject
		default:
			continue
		}
		out.Readings = append(out.Readings, r)
	}
	return &out, nil
}

// FixturesOf names the fixtures that the study in a folder declares, none when it
// has one or cannot be read; Load then says why.
func FixturesOf(dir string) (names []string) {
	text, err := disk.ReadFile(filepath.Join(dir, SettingsFile), maxSettings)
	if err != nil {
		return nil
	}
	s, _ := parseStudy(SettingsFile, text)
	for _, f := range s.Fixtures {
		names = append(names, f.Subject)
	}
	return names
}

// At is the address of what one fixture of the study in a folder sees: FOLDER@NAME,
// the folder itself without a name.
func At(dir, fixture string) string {
	if fixture == "" {
		return dir
	}
	return strings.TrimRight(dir, "/"+string(filepath.Separator)) + "@" + fixture
}

// Split takes an address apart; a folder that is called like one is a folder.
func Split(address string) (dir, fixture string) {
	if info, err := os.Stat(address); err == nil && info.IsDir() {
		return address, ""
	}
	if i := strings.LastIndexByte(address, '@'); i > 0 && fixtureNames.MatchString(address[i+1:]) {
		return address[:i], address[i+1:]
	}
	return address, ""
}
