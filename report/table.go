package report

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Table is one table of the report. The terminal, CSV and Markdown renderers
// and the HTML page all work from it, so that they cannot disagree.
type Table struct {
	Name    string // for file names: "fixture-seatings"
	Title   string
	Note    string // how to read it, in a sentence or two
	Columns []Column
	Rows    [][]Cell // every row has len(Columns) cells
}

// Column heads one column. Head is for people, with the unit; Key is for
// machines and names the CSV column.
type Column struct {
	Head string // words are stacked when that saves width
	Key  string // snake_case with the unit: "forward_mm"
	Kind Kind
	// Repeat marks the columns that name a row. A table too wide for its
	// terminal is cut into blocks of columns that each begin with these.
	Repeat bool
}

// Kind says what the cells of a column hold.
type Kind int

// Text cells hold words, Number cells one number, Interval cells an estimate
// with its lower and upper limit (three CSV columns).
const (
	Text Kind = iota
	Number
	Interval
)

// Cell is one entry. Text is what people read; Num is what CSV holds for a
// Number (1 value) or an Interval (3 values: estimate, lower, upper), nil when
// there is nothing to say.
type Cell struct {
	Text string
	Num  []float64
	Tone Tone
	// Link is the key of the seating that the cell speaks of, for the page.
	Link string
	// Here marks the cell that is the target of such links.
	Here bool
}

// Tone lets a terminal or page underline what the words already say.
type Tone int

// The tones, from plain to refused.
const (
	Plain Tone = iota
	Good
	Act
	Unsure
	Bad
)

func words(s string) Cell           { return Cell{Text: s} }
func toned(s string, t Tone) Cell   { return Cell{Text: s, Tone: t} }
func number(v float64, d int) Cell  { return Cell{Text: fixed(v, d), Num: []float64{v}} }
func count(n int) Cell              { return number(float64(n), 0) }
func none() Cell                    { return Cell{Text: "–"} }
func linked(s, key string) Cell     { return Cell{Text: s, Link: key} }
func spread(est, half float64) Cell { return interval(est, est-half, est+half) }
func (c Column) right() bool        { return c.Kind != Text }
func (t *Table) add(cells ...Cell)  { t.Rows = append(t.Rows, cells) }
func (t Table) empty() bool         { return len(t.Rows) == 0 }
func oneLine(s string) string       { return strings.Join(strings.Fields(printable(s)), " ") }
func join(parts []string) string    { return strings.Join(parts, "; ") }
func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fixed(float64(n), 0) + " " + one + "s"
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	s = oneLine(s)
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// interval makes a cell for an estimate with its limits: "4.2 ± 0.9" when they
// lie evenly, "4.2 (3.9…5.1)" when not.
func interval(est, lower, upper float64) Cell {
	return Cell{Text: intervalText(est, lower, upper), Num: []float64{est, lower, upper}}
}

// wide reports whether a text column holds more than fits beside the others.
func (t Table) wide(col int) bool {
	for _, row := range t.Rows {
		if t.Columns[col].Kind == Text && len(row[col].Text) > 28 {
			return true
		}
	}
	return false
}
