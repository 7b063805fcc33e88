package study

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

// table is a CSV file with a head: what a spreadsheet saves, separated by
// commas, semicolons or tabs, with or without a byte order mark.
type table struct {
	file         string
	comma        rune
	columns      map[string]int // by name, trimmed, in lower case
	rows         []tableRow
	problems     Errors
	decimalComma bool // numbers may be written with one: the separator is another
}

type tableRow struct {
	line   int
	fields []string
}

func (t *table) report(line int, mend, format string, args ...any) {
	t.problems = append(t.problems, Problem{File: t.file, Line: line, Message: fmt.Sprintf(format, args...), Mend: mend})
}

const saveAs = "save it as CSV with UTF-8 text"

// readTable splits a file. known lists the columns that may be there; those
// before required must be. Lines that begin with # are comments when the
// caller says so.
func readTable(file string, text []byte, known []string, required int, comment rune) *table {
	t := &table{file: file, columns: map[string]int{}}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	switch {
	case bytes.HasPrefix(text, []byte{0xff, 0xfe}), bytes.HasPrefix(text, []byte{0xfe, 0xff}), bytes.IndexByte(text, 0) >= 0:
		t.report(0, saveAs, "not plain text (UTF-16, or a spreadsheet's own format)")
		return t
	case !utf8.Valid(text):
		t.report(invalidLine(text), saveAs, "the text is not UTF-8")
		return t
	case len(bytes.TrimSpace(text)) == 0:
		t.report(0, "begin it with the head: "+strings.Join(known, ","), "the file is empty")
		return t
	}
	// A lone carriage return ends a line in files of old spreadsheets.
	if bytes.IndexByte(text, '\n') < 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	t.comma = separator(text, comment)
	t.decimalComma = t.comma != ','
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord = t.comma, comment, -1
	t.read(r, known, required)
	return t
}

// separator is the candidate that is most often in the head.
func separator(text []byte, comment rune) rune {
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

func (t *table) read(r *csv.Reader, known []string, required int) {
	width := -1
	for {
		fields, err := r.Read()
		if err == io.EOF {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			t.report(bad.Line, `put a field that holds a quote in quotes, and double the quote`, "%v", bad.Err)
			continue
		} else if err != nil {
			t.report(0, saveAs, "%v", err)
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
			t.report(line, "put a field that holds a separator in quotes, and leave no separator out", "%d fields under %d columns", len(fields), width)
		default:
			t.rows = append(t.rows, tableRow{line, fields})
		}
	}
	if width < 0 {
		t.report(0, "begin it with the head: "+strings.Join(known, ","), "the file has no head")
	}
}

func (t *table) head(line int, fields, known []string, required int) {
	for i, f := range fields {
		name := strings.ToLower(f)
		if _, twice := t.columns[name]; twice {
			t.report(line, "keep one of them", "column %s is there twice", name)
			continue
		}
		if name == "" {
			continue // an empty column, which a spreadsheet may leave
		}
		t.columns[name] = i
		if !slices.Contains(known, name) {
			mend := "known columns: " + strings.Join(known, ", ")
			if near, ok := nearest(name, known); ok {
				mend = "did you mean " + near + "?"
			}
			t.report(line, mend, "unknown column %q", f)
		}
	}
	for _, name := range known[:required] {
		if _, ok := t.columns[name]; !ok {
			t.report(line, "add it to the head; the order is free", "there is no column %s", name)
		}
	}
}

// field returns a field of a row, empty when the column is not there.
func (t *table) field(r tableRow, column string) string {
	if i, ok := t.columns[column]; ok && i < len(r.fields) {
		return r.fields[i]
	}
	return ""
}

// number reads a field as a number from lo to hi, and reports what is none.
func (t *table) number(r tableRow, column string, lo, hi float64) (float64, bool) {
	s := t.field(r, column)
	plain := s
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		if !t.decimalComma {
			t.report(r.line, "write it with a point: "+strings.Replace(s, ",", ".", 1), "%s is %q: a comma inside a number", column, s)
			return 0, false
		}
		plain = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(strings.Replace(plain, "−", "-", 1), 64)
	switch {
	case s == "":
		t.report(r.line, "fill it in", "%s is empty", column)
	case err != nil || math.IsNaN(v) || strings.ContainsAny(plain, "xXpP_"):
		t.report(r.line, fmt.Sprintf("write a number, %g to %g", lo, hi), "%s is %q, not a number", column, s)
	case v < lo || v > hi:
		t.report(r.line, fmt.Sprintf("write a number, %g to %g", lo, hi), "%s is %s: impossible", column, s)
	default:
		return v, true
	}
	return 0, false
}

// nearest returns the candidate that takes the fewest edits (Levenshtein), if
// so few that it was likely meant.
func nearest(name string, candidates []string) (string, bool) {
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
