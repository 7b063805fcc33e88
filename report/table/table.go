// Package table holds tables and writes them for terminals, as CSV and as
// Markdown. It knows nothing of studies.
package table

import (
	"slices"
	"strings"

	"asworn/report/text"
)

// Table is one table of a report. The terminal, CSV and Markdown renderers
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
	// Code is what CSV holds for a Text; empty where it is what people read.
	Code string
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

// String is the tone's name: "plain", "good", "act", "unsure", "bad".
func (t Tone) String() string { return [...]string{"plain", "good", "act", "unsure", "bad"}[t] }

// Word is a cell of text.
func Word(s string) Cell { return Cell{Text: s} }

// Toned is a cell of text with a tone.
func Toned(s string, t Tone) Cell { return Cell{Text: s, Tone: t} }

// Linked is a cell of text that speaks of a seating.
func Linked(s, key string) Cell { return Cell{Text: s, Link: key} }

// None is the cell of a figure that there is not.
func None() Cell { return Cell{Text: text.Dash("")} }

// Value is a number with d decimals.
func Value(v float64, d int) Cell { return Cell{Text: text.Fixed(v, d), Num: []float64{v}} }

// Count is a whole number.
func Count(n int) Cell { return Value(float64(n), 0) }

// PlusMinus is an estimate with half the width of its interval.
func PlusMinus(est, half float64) Cell { return Between(est, est-half, est+half) }

// Between is an estimate with its limits: "4.2 ± 0.9" when they lie evenly,
// "4.2 (3.9…5.1)" when not.
func Between(est, lower, upper float64) Cell {
	return Cell{Text: text.Interval(est, lower, upper), Num: []float64{est, lower, upper}}
}

// Right reports whether the cells of the column are flush right.
func (c Column) Right() bool { return c.Kind != Text }

// Add appends a row.
func (t *Table) Add(cells ...Cell) { t.Rows = append(t.Rows, cells) }

// Empty reports whether the table has no rows.
func (t Table) Empty() bool { return len(t.Rows) == 0 }

// Silent reports whether the table has columns of numbers and not one number in
// those of kind Interval: it would be a screen of dashes.
func (t Table) Silent() bool {
	intervals := false
	for i, c := range t.Columns {
		if c.Kind != Interval {
			continue
		}
		intervals = true
		for _, row := range t.Rows {
			if len(row[i].Num) > 0 {
				return false
			}
		}
	}
	return intervals
}

// Wide reports whether a text column holds more than fits beside the others: sentences, or a
// single word, such as a file's name, that is longer than most lines.
func (t Table) Wide(col int) bool {
	return t.Columns[col].Kind == Text && slices.ContainsFunc(t.Rows, func(row []Cell) bool {
		s := row[col].Text
		return len(s) > 28 && strings.Contains(s, " ") || len(s) > 60
	})
}
