package study

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"asworn/capture/disk"
)

// seenBy returns the part of a study with several fixtures that one of them sees:
// the panel's rows and its own, as a study with that fixture alone. The error
// names the fixtures that there are.
func (s *Study) seenBy(fixture string) (*Study, error) {
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
	// seen is whether rows of a subject are of this fixture, and what they call it then.
	seen := func(subject *string) bool {
		name, other := isFixture(*subject, s.Fixtures)
		if other && name == out.Fixture.Subject {
			*subject = FixtureSubject
		}
		return !other || name == out.Fixture.Subject
	}
	own := func(rows []Seating) (kept []Seating) {
		for _, r := range rows {
			if seen(&r.Subject) {
				kept = append(kept, r)
			} else {
				out.Elsewhere = append(out.Elsewhere, r.Files()...)
			}
		}
		return kept
	}
	out.Seatings, out.NotRecorded = own(s.Seatings), own(s.NotRecorded)
	ownReadings := func(rows []ReadingRow) (kept []ReadingRow) {
		for _, r := range rows {
			if seen(&r.Subject) {
				kept = append(kept, r)
			}
		}
		return kept
	}
	out.Readings, out.NotRead = ownReadings(s.Readings), ownReadings(s.NotRead)
	return &out, nil
}

// FixturesOf names the fixtures that the study in a folder declares, none when it has one
// or cannot be read; Load then says why. Names are in the order of study.toml.
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
