package study

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"asworn/capture/textfile"
)

// sheetColumns are the columns of seatings.csv; the first five must be there.
var sheetColumns = []string{"file", "model", "subject", "point", "seating",
	"unit", "forward_mm", "up_mm", "rotation_deg", columnReadForward, columnReadUp, "holds", columnLoudspeaker, "seal", "notes"}

const sheetRequired = 5

// Columns that only a sheet with read positions has.
const (
	columnLoudspeaker = "loudspeaker" // a sheet with bare-ear references from several places
	columnReadForward = "read_forward_mm"
	columnReadUp      = "read_up_mm"
)

// Impossible beyond these: a headphone is off the ear.
const (
	maxShiftMM     = 100
	maxRotationDeg = 90
	maxSeating     = 99999
	// MaxReadingMM bounds a reading: no point of a cup is farther from the ear.
	MaxReadingMM = 200
)

// parseSheet reads the text of a seatings.csv of a study with these fixtures, none
// for the one that is called FixtureSubject. Rows with a problem are left out.
func parseSheet(file string, text []byte, fixtures ...Fixture) ([]Seating, textfile.Errors) {
	return parseSheetOf(file, text, HoldsRecording, fixtures)
}

// parseSheetOf is parseSheet for a study whose files hold this unless a row says otherwise.
func parseSheetOf(file string, text []byte, holds Holds, fixtures []Fixture) ([]Seating, textfile.Errors) {
	t := textfile.ReadTable(file, text, sheetColumns, sheetRequired, 0)
	if len(t.Problems) > 0 && len(t.Columns) == 0 {
		return nil, t.Problems
	}
	for _, c := range sheetColumns[:sheetRequired] {
		if _, ok := t.Columns[c]; !ok {
			return nil, t.Problems // every row would complain of the same
		}
	}
	s := &sheetReader{Table: t, fixtures: fixtures, usual: holds, files: map[string]int{}, placements: map[Placement]int{}, spellings: map[string]string{}}
	var rows []Seating
	for _, r := range t.Rows {
		before := len(t.Problems)
		if seating := s.row(r); len(t.Problems) == before {
			rows = append(rows, seating)
		}
	}
	if len(t.Rows) == 0 && len(t.Problems) == 0 {
		t.Report(0, "add one row per recording", "the sheet has no rows")
	}
	s.shareReadings(rows)
	return rows, t.Problems
}

type sheetReader struct {
	*textfile.Table
	fixtures   []Fixture
	usual      Holds          // what a file holds whose row does not say
	files      map[string]int // row of each file
	placements map[Placement]int
	spellings  map[string]string // of subjects and models, by lower case
}

func (s *sheetReader) row(r textfile.Row) Seating {
	out := Seating{Row: r.Line,
		Model: s.Field(r, "model"), Unit: s.Field(r, "unit"), Subject: s.Field(r, "subject"),
		Loudspeaker: s.Field(r, columnLoudspeaker), Seal: s.Field(r, "seal"), Notes: s.Field(r, "notes")}
	if name, ok := isFixture(out.Subject, s.fixtures); ok {
		out.Subject = name
	} else if strings.EqualFold(out.Subject, FixtureSubject) {
		s.Report(r.Line, "write which of the fixtures that "+SettingsFile+" declares", "subject is %s, and the study has several", out.Subject)
	}
	if out.Subject == "" {
		s.Report(r.Line, "write a listener's id, or "+FixtureSubject, "subject is empty")
	}
	s.spelling(r, "subject", out.Subject)
	s.spelling(r, "model", out.Model)
	s.file(r, &out)
	s.holds(r, &out)
	known := s.point(r, &out)
	number, ok := s.Number(r, "seating", 1, maxSeating)
	if ok && number != math.Trunc(number) {
		s.Report(r.Line, "count the seatings from 1", "seating is %s, not a whole number", s.Field(r, "seating"))
		ok = false
	}
	out.Number = int(number)
	s.survey(r, &out)
	s.reading(r, &out)
	if known && out.Loudspeaker != "" && !out.BareEar() {
		s.Report(r.Line, "leave "+columnLoudspeaker+" empty, or take out the model and write "+string(Blocked)+" as the point",
			"%s is %q on a row that is no bare-ear reference", columnLoudspeaker, out.Loudspeaker)
	}
	s.spelling(r, columnLoudspeaker, out.Loudspeaker)
	if known && ok {
		s.unique(r, out)
	}
	return out
}

func (s *sheetReader) file(r textfile.Row, out *Seating) {
	name := s.Field(r, "file")
	if name == "" {
		s.Report(r.Line, "write the path of the recording, from the study folder", "file is empty")
		return
	}
	file, ok := below(name)
	if !ok {
		s.Report(r.Line, "put the file into the study folder and name it from there", "file is %q, which is not below the study folder", name)
		return
	}
	out.File = file
	if first, twice := s.files[file]; twice {
		s.Report(r.Line, "one row per recording: correct the name, or take one row out", "%s is in row %d already", file, first)
		return
	}
	s.files[file] = r.Line
}

// point checks the point and what may go with it.
func (s *sheetReader) point(r textfile.Row, out *Seating) bool {
	p := s.Field(r, "point")
	switch out.Point = Point(strings.ToLower(p)); out.Point {
	case Blocked:
	case Drum:
		if _, ok := isFixture(out.Subject, s.fixtures); !ok && out.Subject != "" {
			s.Report(r.Line, "only the fixture has an ear simulator: write blocked, or fixture as subject", "point is drum for the listener %s", out.Subject)
			return false
		}
		if out.Model == "" {
			s.Report(r.Line, "write the headphone model; a bare-ear reference is a blocked row", "model is empty on a drum row")
			return false
		}
	default:
		s.Report(r.Line, "write blocked or drum", "point is %q", p)
		return false
	}
	return true
}

func (s *sheetReader) survey(r textfile.Row, out *Seating) {
	var d Displacement
	given := false
	for _, c := range []struct {
		column string
		to     *float64
		limit  float64
	}{{"forward_mm", &d.ForwardMM, maxShiftMM}, {"up_mm", &d.UpMM, maxShiftMM}, {"rotation_deg", &d.RotationDeg, maxRotationDeg}} {
		if s.Field(r, c.column) == "" {
			continue
		}
		given = true
		*c.to, _ = s.Number(r, c.column, -c.limit, c.limit)
	}
	if !given {
		return
	}
	out.Survey = &d
	if out.Model == "" && out.Point == Blocked {
		s.Report(r.Line, "leave the displacement empty, or write the model", "a displacement on a bare-ear row, where no headphone is worn")
	}
}

// unique reports a placement that another row has too.
func (s *sheetReader) unique(r textfile.Row, out Seating) {
	p := out.Placement()
	if first, twice := s.placements[p]; twice {
		what := out.Model
		if what == "" {
			what = "the bare ear"
		}
		s.Report(r.Line, "number each placement, or take one row out", "seating %d of %s on %s at the %s is in row %d already",
			out.Number, what, out.Subject, out.Point.Words(), first)
		return
	}
	s.placements[p] = r.Line
}

// spelling reports a name that differs from an earlier one in case alone, and
// so would make two listeners or models of one.
func (s *sheetReader) spelling(r textfile.Row, column, name string) {
	key := column + "\x00" + strings.Join(strings.Fields(strings.ToLower(name)), " ")
	first, ok := s.spellings[key]
	if !ok {
		s.spellings[key] = name
	} else if first != name {
		s.Report(r.Line, fmt.Sprintf("write %q in every row", first), "%s %q differs from %q only in case or spaces", column, name, first)
	}
}

// recordingWord is how a sheet may say that a file holds a recording.
const recordingWord = "recording"

// ParseHolds is what a word says that a file holds, whatever its capitals and spaces.
func ParseHolds(word string) (Holds, bool) {
	word = strings.ToLower(strings.Join(strings.Fields(word), " "))
	switch {
	case word == recordingWord:
		return HoldsRecording, true
	case word == string(HoldsImpulse), word == string(HoldsCurve):
		return Holds(word), true
	}
	return "", false
}

// TextFile reports whether a file is a text by its name, and so holds curves.
func TextFile(name string) bool {
	return slices.Contains([]string{".txt", ".csv", ".tsv", ".dat"}, strings.ToLower(path.Ext(name)))
}

const holdsWords = "write " + recordingWord + ", " + string(HoldsImpulse) + " or " + string(HoldsCurve)

// holds reads the column of what the file holds; where it is empty study.toml says
// so. Text files hold curves, whether either says so or not.
func (s *sheetReader) holds(r textfile.Row, out *Seating) {
	given := s.Field(r, "holds")
	text := TextFile(out.File)
	switch holds, ok := ParseHolds(given); {
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

// reading reads where the headphone was seen to sit.
func (s *sheetReader) reading(r textfile.Row, out *Seating) {
	forward, up := s.Field(r, columnReadForward), s.Field(r, columnReadUp)
	switch {
	case forward == "" && up == "":
		return
	case out.Model == "" && out.Point == Blocked:
		s.Report(r.Line, "leave "+columnReadForward+" and "+columnReadUp+" empty, or write the model", "a read position on a bare-ear row, where no headphone is worn")
		return
	case forward == "":
		s.halfReading(r, columnReadForward, columnReadUp, up)
		return
	case up == "":
		s.halfReading(r, columnReadUp, columnReadForward, forward)
		return
	}
	var read Reading
	var ok [2]bool
	read.ForwardMM, ok[0] = s.Number(r, columnReadForward, -MaxReadingMM, MaxReadingMM)
	read.UpMM, ok[1] = s.Number(r, columnReadUp, -MaxReadingMM, MaxReadingMM)
	if ok[0] && ok[1] {
		out.Read = &read
	}
}

func (s *sheetReader) halfReading(r textfile.Row, empty, given, value string) {
	s.Report(r.Line, "read both off the head, or leave both empty", "%s is empty, and %s is %s", empty, given, value)
}

// shareReadings gives a reading to both rows of a placement that was recorded
// at both points, as it may stand in either. Where both hold one, they must agree.
func (s *sheetReader) shareReadings(rows []Seating) {
	first := map[Placement]int{}
	for i := range rows {
		p := rows[i].Placement().Anywhere()
		j, twice := first[p]
		if !twice {
			first[p] = i
			continue
		}
		a, b := &rows[j], &rows[i]
		switch {
		case a.Read == nil:
			a.Read = b.Read
		case b.Read == nil:
			b.Read = a.Read
		case *a.Read != *b.Read:
			s.Report(b.Row, "it was not touched in between: write the same in both rows, or leave one row's empty; if it was moved, it is another seating",
				"seating %d of %s on %s was read at %g, %g mm, and in row %d at %g, %g mm",
				b.Number, b.Model, b.Subject, b.Read.ForwardMM, b.Read.UpMM, a.Row, a.Read.ForwardMM, a.Read.UpMM)
		}
	}
}
