package study

import (
	"fmt"
	"math"
	"strings"
)

// sheetColumns are the columns of seatings.csv; the first five must be there.
var sheetColumns = []string{"file", "model", "subject", "point", "seating",
	"unit", "forward_mm", "up_mm", "rotation_deg", columnReadForward, columnReadUp, "holds", "seal", "notes"}

const sheetRequired = 5

// Columns that only a sheet with read positions has.
const (
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

// placement is what no two rows share; without the point, what one reading
// belongs to.
type placement struct {
	subject, model, unit string
	point                Point
	number               int
	survey               bool
	displacement         Displacement
}

// parseSheet reads the text of a seatings.csv of a study with these fixtures, none
// for the one that is called FixtureSubject. Rows with a problem are left out.
func parseSheet(file string, text []byte, fixtures ...Fixture) ([]Seating, Errors) {
	t := readTable(file, text, sheetColumns, sheetRequired, 0)
	if len(t.problems) > 0 && len(t.columns) == 0 {
		return nil, t.problems
	}
	for _, c := range sheetColumns[:sheetRequired] {
		if _, ok := t.columns[c]; !ok {
			return nil, t.problems // every row would complain of the same
		}
	}
	s := &sheetReader{table: t, fixtures: fixtures, files: map[string]int{}, placements: map[placement]int{}, spellings: map[string]string{}}
	var rows []Seating
	for _, r := range t.rows {
		before := len(t.problems)
		if seating := s.row(r); len(t.problems) == before {
			rows = append(rows, seating)
		}
	}
	if len(t.rows) == 0 && len(t.problems) == 0 {
		t.report(0, "add one row per recording", "the sheet has no rows")
	}
	s.shareReadings(rows)
	return rows, t.problems
}

type sheetReader struct {
	*table
	fixtures   []Fixture
	files      map[string]int // row of each file
	placements map[placement]int
	spellings  map[string]string // of subjects and models, by lower case
}

func (s *sheetReader) row(r tableRow) Seating {
	out := Seating{Row: r.line,
		Model: s.field(r, "model"), Unit: s.field(r, "unit"), Subject: s.field(r, "subject"),
		Seal: s.field(r, "seal"), Notes: s.field(r, "notes")}
	if name, ok := isFixture(out.Subject, s.fixtures); ok {
		out.Subject = name
	} else if strings.EqualFold(out.Subject, FixtureSubject) {
		s.report(r.line, "write which of the fixtures that "+SettingsFile+" declares", "subject is %s, and the study has several", out.Subject)
	}
	if out.Subject == "" {
		s.report(r.line, "write a listener's id, or "+FixtureSubject, "subject is empty")
	}
	s.spelling(r, "subject", out.Subject)
	s.spelling(r, "model", out.Model)
	s.file(r, &out)
	s.holds(r, &out)
	known := s.point(r, &out)
	number, ok := s.number(r, "seating", 1, maxSeating)
	if ok && number != math.Trunc(number) {
		s.report(r.line, "count the seatings from 1", "seating is %s, not a whole number", s.field(r, "seating"))
		ok = false
	}
	out.Number = int(number)
	s.survey(r, &out)
	s.reading(r, &out)
	if known && ok {
		s.unique(r, out)
	}
	return out
}

func (s *sheetReader) file(r tableRow, out *Seating) {
	name := s.field(r, "file")
	if name == "" {
		s.report(r.line, "write the path of the recording, from the study folder", "file is empty")
		return
	}
	file, ok := below(name)
	if !ok {
		s.report(r.line, "put the file into the study folder and name it from there", "file is %q, which is not below the study folder", name)
		return
	}
	out.File = file
	if first, twice := s.files[file]; twice {
		s.report(r.line, "one row per recording: mend the name, or take one row out", "%s is in row %d already", file, first)
		return
	}
	s.files[file] = r.line
}

// point checks the point and what may go with it.
func (s *sheetReader) point(r tableRow, out *Seating) bool {
	p := s.field(r, "point")
	switch out.Point = Point(strings.ToLower(p)); out.Point {
	case Blocked:
	case Drum:
		if _, ok := isFixture(out.Subject, s.fixtures); !ok && out.Subject != "" {
			s.report(r.line, "only the fixture has an ear simulator: write blocked, or fixture as subject", "point is drum for the listener %s", out.Subject)
			return false
		}
		if out.Model == "" {
			s.report(r.line, "write the headphone model; a bare-ear reference is a blocked row", "model is empty on a drum row")
			return false
		}
	default:
		s.report(r.line, "write blocked or drum", "point is %q", p)
		return false
	}
	return true
}

func (s *sheetReader) survey(r tableRow, out *Seating) {
	var d Displacement
	given := false
	for _, c := range []struct {
		column string
		to     *float64
		limit  float64
	}{{"forward_mm", &d.ForwardMM, maxShiftMM}, {"up_mm", &d.UpMM, maxShiftMM}, {"rotation_deg", &d.RotationDeg, maxRotationDeg}} {
		if s.field(r, c.column) == "" {
			continue
		}
		given = true
		*c.to, _ = s.number(r, c.column, -c.limit, c.limit)
	}
	if !given {
		return
	}
	out.Survey = &d
	if out.Model == "" && out.Point == Blocked {
		s.report(r.line, "leave the displacement empty, or write the model", "a displacement on a bare-ear row, where no headphone is worn")
	}
}

func placementOf(out Seating) placement {
	p := placement{subject: out.Subject, model: out.Model, unit: out.Unit, point: out.Point, number: out.Number}
	if out.Survey != nil {
		p.survey, p.displacement = true, *out.Survey
	}
	return p
}

// unique reports a placement that another row has too.
func (s *sheetReader) unique(r tableRow, out Seating) {
	p := placementOf(out)
	if first, twice := s.placements[p]; twice {
		what := out.Model
		if what == "" {
			what = "the bare ear"
		}
		s.report(r.line, "number each placement, or take one row out", "seating %d of %s on %s at the %s point is in row %d already",
			out.Number, what, out.Subject, out.Point, first)
		return
	}
	s.placements[p] = r.line
}

// spelling reports a name that differs from an earlier one in case alone, and
// so would make two listeners or models of one.
func (s *sheetReader) spelling(r tableRow, column, name string) {
	key := column + "\x00" + strings.Join(strings.Fields(strings.ToLower(name)), " ")
	first, ok := s.spellings[key]
	if !ok {
		s.spellings[key] = name
	} else if first != name {
		s.report(r.line, fmt.Sprintf("write %q in every row", first), "%s %q differs from %q only in case or spaces", column, name, first)
	}
}
