package study

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"asworn/capture/textfile"
)

// tableText is a table that is changed cell by cell. Separator, line ends, the
// order of columns and every other cell stay as they were written.
type tableText struct {
	name    string
	bom     bool
	crlf    bool
	comma   rune
	records [][]string // the head first
}

func parseTable(name string, text []byte) (tableText, error) {
	s := tableText{name: name, bom: bytes.HasPrefix(text, []byte("\ufeff")), crlf: bytes.Contains(text, []byte("\r\n"))}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if bytes.IndexByte(text, '\n') < 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	s.comma = textfile.Separator(text, 0)
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.FieldsPerRecord = s.comma, -1
	var err error
	s.records, err = r.ReadAll()
	s.records = slices.DeleteFunc(s.records, func(row []string) bool { return strings.TrimSpace(strings.Join(row, "")) == "" })
	return s, err
}

func (s *tableText) text() ([]byte, error) {
	var b bytes.Buffer
	if s.bom {
		b.WriteString("\ufeff")
	}
	w := csv.NewWriter(&b)
	w.Comma, w.UseCRLF = s.comma, s.crlf
	err := w.WriteAll(s.records)
	return b.Bytes(), err
}

// column returns the index of a column, which is added when it is not there.
func (s *tableText) column(name string) int {
	at := slices.IndexFunc(s.records[0], func(f string) bool { return strings.EqualFold(strings.TrimSpace(f), name) })
	if at >= 0 {
		return at
	}
	for i := range s.records {
		s.records[i] = append(s.records[i], "")
	}
	at = len(s.records[0]) - 1
	s.records[0][at] = name
	return at
}

func (s *tableText) set(row int, column, value string) {
	at := s.column(column)
	s.records[row][at] = value
}

func (s *tableText) number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// SheetText is a seatings.csv that is changed cell by cell. Separator, line
// ends, the order of columns and every other cell stay as they were written.
type SheetText struct {
	tableText
	fixtures []Fixture
}

// ParseSheetText reads the text of a sheet; name is what errors call it. fixtures are
// those that the study declares, none when it has one. The error holds everything that is
// wrong with it, by row, as [Errors].
func ParseSheetText(name string, text []byte, fixtures ...Fixture) (*SheetText, error) {
	if _, problems := parseSheet(name, text, fixtures...); len(problems) > 0 {
		return nil, problems.Sorted()
	}
	table, err := parseTable(name, text)
	return &SheetText{table, fixtures}, err
}

// Bytes returns the text, which a reader of sheets takes, or what is wrong with it after
// the changes. The error holds everything, by row, as [Errors].
func (s *SheetText) Bytes() ([]byte, error) {
	b, err := s.text()
	if err != nil {
		return nil, err
	}
	_, problems := parseSheet(s.name, b, s.fixtures...)
	return b, problems.Sorted()
}

// AddReading puts a reading into the text of a readings.csv: into the row that is
// planned for it, else at the end. Everything else stays as it was written; name is
// what errors call the file.
func AddReading(name string, text []byte, r ReadingRow) ([]byte, error) {
	if _, _, problems := parseReadings(name, text); len(problems) > 0 {
		return nil, problems.Sorted()
	}
	s, err := parseTable(name, text)
	if err != nil {
		return nil, err
	}
	cells := []struct{ column, value string }{{"subject", r.Subject}, {"model", r.Model}, {"seating", strconv.Itoa(r.Number)}, {"side", r.Side.String()}}
	at := slices.IndexFunc(s.records, func(row []string) bool {
		cell := func(column string) string {
			if c := s.column(column); c < len(row) {
				return strings.TrimSpace(row[c])
			}
			return ""
		}
		for _, c := range cells {
			if !strings.EqualFold(cell(c.column), c.value) {
				return false
			}
		}
		return cell("forward_mm") == "" && cell("up_mm") == ""
	})
	if at < 0 {
		at = len(s.records)
		s.records = append(s.records, make([]string, len(s.records[0])))
		for _, c := range append(cells, struct{ column, value string }{"reader", r.Reader}, struct{ column, value string }{"notes", r.Notes}) {
			if c.value != "" {
				s.set(at, c.column, c.value)
			}
		}
	}
	s.set(at, "forward_mm", s.number(r.ForwardMM))
	s.set(at, "up_mm", s.number(r.UpMM))
	b, err := s.text()
	if err != nil {
		return nil, err
	}
	_, _, problems := parseReadings(name, b)
	return b, problems.Sorted()
}

// row returns the index of the row of a recording.
func (s *SheetText) row(file string) (int, error) {
	column := s.column("file")
	for i, r := range s.records[1:] {
		if name, ok := below(r[column]); ok && name == file {
			return i + 1, nil
		}
	}
	return 0, fmt.Errorf("%s: no row for %s", s.name, file)
}

// Read writes where the headphone of a recording was seen to sit. It fails where the
// sheet has no row of that recording.
func (s *SheetText) Read(file string, r Reading) error {
	i, err := s.row(file)
	if err != nil {
		return err
	}
	s.set(i, columnReadForward, s.number(r.ForwardMM))
	s.set(i, columnReadUp, s.number(r.UpMM))
	return nil
}

// Note adds a note to the row of a recording. Notes that are there stay, and the new one
// follows after "; ". It fails where the sheet has no row of that recording.
func (s *SheetText) Note(file, note string) error {
	i, err := s.row(file)
	if err != nil {
		return err
	}
	at := s.column("notes")
	if old := strings.TrimSpace(s.records[i][at]); old != "" {
		note = old + "; " + note
	}
	s.records[i][at] = note
	return nil
}

// Add puts a row behind that of the recording after, or at the end when after is empty.
// It fails where there is no row of after; whether the new row is possible, Bytes tells.
func (s *SheetText) Add(r Seating, after string) error {
	at := len(s.records)
	if after != "" {
		i, err := s.row(after)
		if err != nil {
			return err
		}
		at = i + 1
	}
	s.records = slices.Insert(s.records, at, make([]string, len(s.records[0])))
	for _, cell := range []struct{ column, value string }{
		{"file", r.File}, {"model", r.Model}, {"unit", r.Unit}, {"subject", r.Subject}, {"point", string(r.Point)},
		{"seating", strconv.Itoa(r.Number)}, {columnLoudspeaker, r.Loudspeaker}, {"seal", r.Seal}, {"notes", r.Notes}} {
		if cell.value != "" {
			s.set(at, cell.column, cell.value)
		}
	}
	if d := r.Survey; d != nil {
		s.set(at, "forward_mm", s.number(d.ForwardMM))
		s.set(at, "up_mm", s.number(d.UpMM))
		s.set(at, "rotation_deg", s.number(d.RotationDeg))
	}
	return nil
}

// Drop takes the row of a recording out and returns its cells under the head's names, as
// text to keep elsewhere. It fails where the sheet has no row of that recording.
func (s *SheetText) Drop(file string) (cells []string, err error) {
	i, err := s.row(file)
	if err != nil {
		return nil, err
	}
	for c, v := range s.records[i] {
		if v != "" {
			cells = append(cells, s.records[0][c]+"="+v)
		}
	}
	s.records = slices.Delete(s.records, i, i+1)
	return cells, nil
}
