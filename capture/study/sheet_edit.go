package study

import (
	"asworn/capture/textfile"
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// SheetText is a seatings.csv that is changed cell by cell. Separator, line
// ends, the order of columns and every other cell stay as they were written.
type SheetText struct {
	name    string
	bom     bool
	crlf    bool
	comma   rune
	records [][]string // the head first
}

// ParseSheetText reads the text of a sheet; name is what errors call it.
func ParseSheetText(name string, text []byte) (*SheetText, error) {
	if _, problems := parseSheet(name, text); len(problems) > 0 {
		return nil, problems.Sorted()
	}
	s := &SheetText{name: name, bom: bytes.HasPrefix(text, []byte("\ufeff")), crlf: bytes.Contains(text, []byte("\r\n"))}
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

// Bytes returns the text, which a reader of sheets takes, or what is wrong with
// it after the changes.
func (s *SheetText) Bytes() ([]byte, error) {
	var b bytes.Buffer
	if s.bom {
		b.WriteString("\ufeff")
	}
	w := csv.NewWriter(&b)
	w.Comma, w.UseCRLF = s.comma, s.crlf
	if err := w.WriteAll(s.records); err != nil {
		return nil, err
	}
	_, problems := parseSheet(s.name, b.Bytes())
	return b.Bytes(), problems.Sorted()
}

// column returns the index of a column, which is added when it is not there.
func (s *SheetText) column(name string) int {
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

// Read writes where the headphone of a recording was seen to sit.
func (s *SheetText) Read(file string, r Reading) error {
	i, err := s.row(file)
	if err != nil {
		return err
	}
	s.set(i, columnReadForward, s.number(r.ForwardMM))
	s.set(i, columnReadUp, s.number(r.UpMM))
	return nil
}

// Note adds a note to the row of a recording.
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

// Add puts a row behind that of the recording after, or at the end when after
// is empty.
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
		{"seating", strconv.Itoa(r.Number)}, {"seal", r.Seal}, {"notes", r.Notes}} {
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

// Drop takes the row of a recording out and returns its cells under the head's
// names, as text to keep elsewhere.
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

func (s *SheetText) set(row int, column, value string) {
	at := s.column(column)
	s.records[row][at] = value
}

func (s *SheetText) number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
