package textfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"
)

// Table is a CSV file with a head: what a spreadsheet saves, separated by
// commas, semicolons or tabs, with or without a byte order mark.
type Table struct {
	Columns  map[string]int // index of each column, by its name in lower case
	Rows     []Row          // those that have as many fields as the head; empty ones are left out
	Problems Errors         // found so far, in the order in which they were

	file         string
	comma        rune
	decimalComma bool // numbers may be written with one: the separator is another
}

// Row is one line of a Table; see Table.Field.
type Row struct {
	Line   int // 1-based
	fields []string
}

// Report adds a problem; line 0 concerns the whole file. Characters of the file that do
// not print are shown as in a Go string. Lines count from 1. mend says what to do; format
// and args are Sprintf's.
func (t *Table) Report(line int, mend, format string, args ...any) {
	t.Problems = append(t.Problems, Problem{File: t.file, Line: line, Message: printable(fmt.Sprintf(format, args...)), Mend: mend})
}

func printable(s string) string {
	if strings.IndexFunc(s, unprintable) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if unprintable(r) {
			b.WriteString(strings.Trim(strconv.QuoteRune(r), "'"))
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

func unprintable(r rune) bool { return !strconv.IsPrint(r) }

const saveAs = "save it as CSV with UTF-8 text"

// ReadTable splits a file. known lists the columns that may be there; those before
// required must be. Lines that begin with comment are left out; 0 for none. What is wrong
// is in Problems. Rows hold the fields of a line each, without the head. file is what
// problems call it. The table is never nil.
func ReadTable(file string, text []byte, known []string, required int, comment rune) *Table {
	t := &Table{file: file, Columns: map[string]int{}}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	switch {
	case NotPlain(text):
		t.Report(0, saveAs, "not plain text (UTF-16, or a spreadsheet's own format)")
		return t
	case !utf8.Valid(text):
		t.Report(InvalidLine(text), saveAs, "the text is not UTF-8")
		return t
	case len(bytes.TrimSpace(text)) == 0:
		t.Report(0, "begin it with the head: "+strings.Join(known, ","), "the file is empty")
		return t
	}
	// A lone carriage return ends a line in files of old spreadsheets.
	if bytes.IndexByte(text, '\n') < 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	t.comma = Separator(text, comment)
	t.decimalComma = t.comma != ','
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord = t.comma, comment, -1
	t.read(r, known, required)
	return t
}

// NotPlain reports whether a file holds no plain text: UTF-16, or a program's own format.
func NotPlain(text []byte) bool {
	return bytes.HasPrefix(text, []byte{0xff, 0xfe}) || bytes.HasPrefix(text, []byte{0xfe, 0xff}) || bytes.IndexByte(text, 0) >= 0
}

// Separator is the candidate that is most often in the head. It is a comma where none is
// there.
func Separator(text []byte, comment rune) rune {
	for line := range bytes.Lines(text) {
		s := strings.TrimSpace(string(line))
		if s == "" || (comment != 0 && strings.HasPrefix(s, string(comment))) {
			continue
		}
		best := ','
		for _, c := range []rune{';', '\t'} {
			if strings.Count(s, string(c)) > strings.Count(s, string(best)) {
				best = c
			}
		}
		return best
	}
	return ','
}

func (t *Table) read(r *csv.Reader, known []string, required int) {
	width := -1
	for {
		fields, err := r.Read()
		if err == io.EOF {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			t.Report(bad.Line, `put a field that holds a quote in quotes, and double the quote`, "%v", bad.Err)
			continue
		} else if err != nil {
			t.Report(0, saveAs, "%v", err)
			return
		}
		line, _ := r.FieldPos(0)
		empty := true
		for i := range fields {
			fields[i] = strings.TrimSpace(fields[i])
			empty = empty && fields[i] == ""
		}
		switch {
		case empty:
		case width < 0:
			width = len(fields)
			t.head(line, fields, known, required)
		case len(fields) != width: // or the fields would be read under the wrong columns
			t.Report(line, "put a field that holds a separator in quotes, and leave no separator out", "%d fields under %d columns", len(fields), width)
		default:
			t.Rows = append(t.Rows, Row{line, fields})
		}
	}
	if width < 0 {
		t.Report(0, "begin it with the head: "+strings.Join(known, ","), "the file has no head")
	}
}

func (t *Table) head(line int, fields, known []string, required int) {
	for i, f := range fields {
		name := strings.ToLower(f)
		if _, twice := t.Columns[name]; twice {
			t.Report(line, "keep one of them", "column %s is there twice", name)
			continue
		}
		if name == "" {
			continue // an empty column, which a spreadsheet may leave
		}
		t.Columns[name] = i
		if !slices.Contains(known, name) {
			mend := "known columns: " + strings.Join(known, ", ")
			if near, ok := Nearest(name, known); ok {
				mend = "did you mean " + near + "?"
			}
			t.Report(line, mend, "unknown column %q", f)
		}
	}
	for _, name := range known[:required] {
		if _, ok := t.Columns[name]; !ok {
			t.Report(line, "add it to the head; the order is free", "there is no column %s", name)
		}
	}
}

// Field returns a field of a row, empty when the column is not there.
func (t *Table) Field(r Row, column string) string {
	if i, ok := t.Columns[column]; ok && i < len(r.fields) {
		return r.fields[i]
	}
	return ""
}

// Number reads a field as a number from lo to hi, and reports what is none. It is in the
// column's own unit; 0 and false for a field that is empty, no number, or outside lo to
// hi, with a problem that says so.
func (t *Table) Number(r Row, column string, lo, hi float64) (float64, bool) {
	s := t.Field(r, column)
	plain := s
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		if !t.decimalComma {
			t.Report(r.Line, "write it with a point: "+strings.Replace(s, ",", ".", 1), "%s is %q: a comma inside a number", column, s)
			return 0, false
		}
		plain = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(strings.Replace(plain, "−", "-", 1), 64)
	switch {
	case s == "":
		t.Report(r.Line, "fill it in", "%s is empty", column)
	case err != nil || math.IsNaN(v) || strings.ContainsAny(plain, "xXpP_"):
		t.Report(r.Line, fmt.Sprintf("write a number, %g to %g", lo, hi), "%s is %q, not a number", column, s)
	case v < lo || v > hi:
		t.Report(r.Line, fmt.Sprintf("write a number, %g to %g", lo, hi), "%s is %s: impossible", column, s)
	default:
		return v, true
	}
	return 0, false
}

// Nearest returns the candidate that takes the fewest edits (Levenshtein), if so few that
// it was likely meant. It is false where none is near, and for no candidates.
func Nearest(name string, candidates []string) (string, bool) {
	best, at := math.MaxInt, ""
	name = strings.ToLower(name)
	if len(name) > 64 {
		return "", false
	}
	for _, c := range candidates {
		if d := levenshtein.ComputeDistance(name, c); d < best {
			best, at = d, c
		}
	}
	return at, best <= max(2, max(len(at), len(name))/3) && best < len(at)
}

// InvalidLine returns the 1-based line of the first byte that is not UTF-8.
func InvalidLine(text []byte) int {
	line := 1
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		if r == utf8.RuneError && n == 1 {
			break
		}
		if r == '\n' {
			line++
		}
		text = text[n:]
	}
	return line
}
