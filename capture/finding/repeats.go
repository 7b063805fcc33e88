package finding

import (
	"fmt"
	"slices"
)

// A cause that more recordings share than many is shown for the first few of them.
const (
	many = 6
	few  = 3
)

// Repeats tells which findings of a study need not be shown one by one: a fault of
// the set-up is in every recording, and is read once. It is for showing; nothing is
// left out of the results.
type Repeats struct {
	total map[cause]int
	seen  map[cause]*Repeated
	order []cause
}

// Repeated is a cause that further recordings share.
type Repeated struct {
	First Joint // as the first recording has it
	Row   int   // of that recording in the sheet
	Rows  []int // of those that were not shown, in order
	shown int
}

// String counts the recordings that were not shown and says where they stand.
func (r Repeated) String() string {
	return fmt.Sprintf("%d more, rows %d to %d", len(r.Rows), r.Rows[0], r.Rows[len(r.Rows)-1])
}

// cause is what findings have in common that are mended by one act.
type cause struct {
	code     Code
	severity Severity
	mend     string
}

func causeOf(f Finding) cause { return cause{f.Code, f.Severity, f.Mend} }

// NewRepeats counts the causes of recordings' findings, each recording's once per
// cause (ByCause).
func NewRepeats(recordings [][]Joint) *Repeats {
	r := &Repeats{total: map[cause]int{}, seen: map[cause]*Repeated{}}
	for _, findings := range recordings {
		for _, f := range findings {
			r.total[causeOf(f.Finding)]++
		}
	}
	return r
}

// Show says whether a finding of the recording in a row of the sheet is to be shown;
// one that is not is kept for Rest.
func (r *Repeats) Show(f Joint, row int) bool {
	c := causeOf(f.Finding)
	s := r.seen[c]
	if s == nil {
		s = &Repeated{First: f, Row: row}
		r.seen[c], r.order = s, append(r.order, c)
	}
	if r.total[c] <= many || s.shown < few {
		s.shown++
		return true
	}
	s.Rows = append(s.Rows, row)
	return false
}

// Rest returns what was not shown, in the order in which the causes were met; nil if
// all was.
func (r *Repeats) Rest() []Repeated {
	var out []Repeated
	for _, c := range r.order {
		if s := r.seen[c]; len(s.Rows) > 0 {
			slices.Sort(s.Rows)
			out = append(out, *s)
		}
	}
	return out
}
