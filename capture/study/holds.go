package study

import (
	"path"
	"slices"
	"strings"

	"asworn/capture/textfile"
)

// Holds says what the file of a row holds.
type Holds string

// What a file can hold. The zero value is a recording.
const (
	HoldsRecording Holds = ""
	HoldsImpulse   Holds = "impulse response" // WAV, the channels of study.toml
	HoldsCurve     Holds = "curve"            // text: frequency, level and perhaps phase; see curve.ReadText
)

// recordingWord is how a sheet may say that a file holds a recording.
const recordingWord = "recording"

// Files returns the files of a row, one as a rule. A row of curves may name one
// for each ear by alternatives in braces, left before right:
// "curves/l01-{L|R}.txt".
func (s Seating) Files() []string {
	before, rest, ok := strings.Cut(s.File, "{")
	if !ok {
		return []string{s.File}
	}
	inside, after, ok := strings.Cut(rest, "}")
	left, right, both := strings.Cut(inside, "|")
	if !ok || !both {
		return []string{s.File}
	}
	return []string{before + left + after, before + right + after}
}

// holdsOf is what a word says that a file holds, whatever its capitals and spaces.
func holdsOf(word string) (Holds, bool) {
	word = strings.ToLower(strings.Join(strings.Fields(word), " "))
	switch {
	case word == recordingWord:
		return HoldsRecording, true
	case word == string(HoldsImpulse), word == string(HoldsCurve):
		return Holds(word), true
	}
	return "", false
}

const holdsWords = "write " + recordingWord + ", " + string(HoldsImpulse) + " or " + string(HoldsCurve)

// checkHolds takes over what study.toml says that files hold.
func (s *parsedStudy) checkHolds() {
	if s.Holds == "" {
		return
	}
	holds, ok := holdsOf(string(s.Holds))
	if !ok {
		s.report("holds", holdsWords, "holds is %q", s.Holds)
	}
	s.Holds = holds
}

// holds reads the column of what the file holds; where it is empty study.toml says
// so. Text files hold curves, whether either says so or not.
func (s *sheetReader) holds(r textfile.Row, out *Seating) {
	given := s.Field(r, "holds")
	text := slices.Contains([]string{".txt", ".csv", ".tsv", ".dat"}, strings.ToLower(path.Ext(out.File)))
	switch holds, ok := holdsOf(given); {
	case ok:
		out.Holds = holds
	case given != "":
		s.Report(r.Line, holdsWords+", or nothing", "holds is %q", given)
	case text:
		out.Holds = HoldsCurve
	default:
		out.Holds = s.usual
	}
	switch {
	case out.File == "":
	case out.Holds == HoldsCurve && !text:
		s.Report(r.Line, "name a text file: .txt, .csv, .tsv or .dat", "%s is to hold a curve", out.File)
	case out.Holds != HoldsCurve && text:
		s.Report(r.Line, "name a WAV file, or say that it holds a curve", "%s is a text file", out.File)
	case out.Holds != HoldsCurve && len(out.Files()) > 1:
		s.Report(r.Line, "one WAV file holds both ears", "%s names a file for each ear", out.File)
	}
}
