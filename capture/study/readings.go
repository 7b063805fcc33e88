package study

import (
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"asworn/capture/disk"
	"asworn/capture/textfile"
)

// ReadingsFile is the optional sheet of readings, one row each.
const ReadingsFile = "readings.csv"

var readingColumns = []string{"subject", "forward_mm", "up_mm", "model", "seating", "side", "reader", "notes"}

const readingRequired = 3

// LoadReadings reads a readings.csv by itself, as a trial of readers has it. The error
// holds everything that is wrong with it, as [Errors]. Rows are in the order of the file.
func LoadReadings(path string) ([]ReadingRow, error) {
	text, err := disk.ReadFile(path, textfile.MaxBytes)
	if err != nil {
		return nil, textfile.Errors{textfile.Missing(path, err)}
	}
	rows, _, problems := parseReadings(path, text)
	if err := problems.Sorted(); err != nil {
		return nil, err
	}
	return rows, nil
}

// parseReadings reads the text of a readings.csv: the rows that hold a reading, and
// those that are planned, without figures. Rows with a problem are left out.
func parseReadings(file string, text []byte) (rows, planned []ReadingRow, problems textfile.Errors) {
	t := textfile.ReadTable(file, text, readingColumns, readingRequired, 0)
	for _, c := range readingColumns[:readingRequired] {
		if _, ok := t.Columns[c]; !ok {
			return nil, nil, t.Problems
		}
	}
	for _, r := range t.Rows {
		before := len(t.Problems)
		row := readingRow(t, r)
		switch read := t.Field(r, "forward_mm") != "" || t.Field(r, "up_mm") != ""; {
		case len(t.Problems) > before:
		case read:
			rows = append(rows, row)
		default:
			planned = append(planned, row)
		}
	}
	if len(t.Rows) == 0 && len(t.Problems) == 0 {
		t.Report(0, "add one row per reading, or take the file away", "the sheet has no rows")
	}
	return rows, planned, t.Problems
}

// OfPlacements reports whether the text of a readings.csv has rows of placements, read or still to be:
// then a reading stands there, and else, as where only entrances were found, in the sheet.
func OfPlacements(file string, text []byte) bool {
	rows, planned, _ := parseReadings(file, text)
	return slices.ContainsFunc(slices.Concat(rows, planned), func(r ReadingRow) bool { return r.Model != "" })
}

func readingRow(t *textfile.Table, r textfile.Row) ReadingRow {
	out := ReadingRow{Row: r.Line, Subject: t.Field(r, "subject"), Model: t.Field(r, "model"), Reader: t.Field(r, "reader"), Notes: t.Field(r, "notes")}
	if strings.EqualFold(out.Subject, FixtureSubject) {
		out.Subject = FixtureSubject
	}
	if out.Subject == "" {
		t.Report(r.Line, "write a listener's id, or "+FixtureSubject, "subject is empty")
	}
	if t.Field(r, "forward_mm") != "" || t.Field(r, "up_mm") != "" { // else it is planned
		out.ForwardMM, _ = t.Number(r, "forward_mm", -MaxReadingMM, MaxReadingMM)
		out.UpMM, _ = t.Number(r, "up_mm", -MaxReadingMM, MaxReadingMM)
	}
	switch seating := t.Field(r, "seating"); {
	case out.Model == "" && seating != "":
		t.Report(r.Line, "write the model; a finding of the canal's entrance has neither", "seating is %s, and model is empty", seating)
	case out.Model != "":
		number, ok := t.Number(r, "seating", 1, maxSeating)
		if ok && number != math.Trunc(number) {
			t.Report(r.Line, "write the number that the seating has in "+SheetFile, "seating is %s, not a whole number", seating)
		}
		out.Number = int(number)
	}
	if side := strings.ToLower(t.Field(r, "side")); out.Side.UnmarshalText([]byte(side)) != nil {
		t.Report(r.Line, "write left, right, or leave it empty for the mean of both cups", "side is %q", side)
	}
	return out
}

// readReadings reads the study's readings.csv if it has one, and holds its rows
// against the sheet.
func (s *Study) readReadings() textfile.Errors {
	path := filepath.Join(s.Dir, ReadingsFile)
	text, err := disk.ReadFile(path, textfile.MaxBytes)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return textfile.Errors{textfile.Missing(path, err)}
	}
	rows, planned, problems := parseReadings(path, text)
	type key struct {
		subject, model string
		number         int
	}
	sheet := map[key]*Seating{}
	for i := range s.Seatings {
		row := &s.Seatings[i]
		k := key{row.Subject, row.Model, row.Number}
		if sheet[k] == nil || row.Read != nil {
			sheet[k] = row
		}
	}
	for _, r := range rows {
		if r.Model == "" {
			continue
		}
		row := sheet[key{r.Subject, r.Model, r.Number}]
		switch {
		case row == nil:
			problems = append(problems, textfile.Problem{File: path, Line: r.Row, Mend: "write subject, model and seating as they stand there, or take the row out",
				Message: "seating " + strconv.Itoa(r.Number) + " of " + r.Model + " on " + r.Subject + " is not in " + SheetFile})
		case row.Read != nil:
			problems = append(problems, textfile.Problem{File: path, Line: r.Row, Mend: "keep its readings in " + ReadingsFile + " alone, and empty those columns of row " + strconv.Itoa(row.Row) + " of " + SheetFile,
				Message: "seating " + strconv.Itoa(r.Number) + " of " + r.Model + " on " + r.Subject + " has a reading in " + SheetFile + " too"})
		}
	}
	s.Readings, s.NotRead = rows, planned
	return problems
}

// WriteReadings writes a readings.csv: the rows in their order, and after them those
// that are still to be read, with both figures empty. Such rows are passed over until
// they are filled in. Without any it is the head alone. Errors are w's.
func WriteReadings(w io.Writer, rows, planned []ReadingRow) error {
	out := csv.NewWriter(w)
	out.Write([]string{"subject", "model", "seating", "side", "forward_mm", "up_mm", "reader", "notes"})
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	for i, r := range slices.Concat(rows, planned) {
		seating := ""
		if r.Model != "" {
			seating = strconv.Itoa(r.Number)
		}
		figures := []string{"", ""}
		if i < len(rows) {
			figures = []string{number(r.ForwardMM), number(r.UpMM)}
		}
		out.Write(slices.Concat([]string{r.Subject, r.Model, seating, r.Side.String()}, figures, []string{r.Reader, r.Notes}))
	}
	out.Flush()
	return out.Error()
}

// ParseReading reads a position as a person writes it: two numbers of mm within
// ±[MaxReadingMM], forward then up, with a comma or blanks between; with blanks between,
// a comma within a number is a decimal one.
func ParseReading(words string) (r Reading, ok bool) {
	fields := strings.Fields(words)
	if len(fields) == 1 || strings.Contains(words, " ,") {
		fields = strings.Split(words, ",")
	}
	if len(fields) != 2 {
		return Reading{}, false
	}
	for i, to := range []*float64{&r.ForwardMM, &r.UpMM} {
		number := strings.ReplaceAll(strings.TrimRight(strings.TrimSpace(fields[i]), ",;"), ",", ".")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil || !(math.Abs(v) <= MaxReadingMM) { // NaN is not
			return Reading{}, false
		}
		*to = v
	}
	return r, true
}
