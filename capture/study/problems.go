package study

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong with a study.
type Problem struct {
	File    string // the file in which to mend it
	Line    int    // 1-based line, or row of the sheet (the head is row 1); 0 when it concerns the whole file
	Message string // what was found
	Mend    string // what the operator can do
	Err     error  // what was underneath, or nil
}

// Error gives file, line, finding and mend in one line.
func (p Problem) Error() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	b.WriteString(": " + p.Message)
	if p.Mend != "" {
		b.WriteString("; " + p.Mend)
	}
	return b.String()
}

// Unwrap returns what was underneath.
func (p Problem) Unwrap() error { return p.Err }

// Errors is everything wrong with a study, in the order of its files and
// lines.
type Errors []Problem

// Error gives one line per problem.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, p := range e {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns every problem, for errors.Is and errors.As.
func (e Errors) Unwrap() []error {
	out := make([]error, len(e))
	for i, p := range e {
		out[i] = p
	}
	return out
}

// sorted returns the problems in the order of the lines, those of one file
// together, or nil when there are none.
func (e Errors) sorted() error {
	if len(e) == 0 {
		return nil
	}
	order := map[string]int{}
	for i, p := range e {
		if _, ok := order[p.File]; !ok {
			order[p.File] = i
		}
	}
	slices.SortStableFunc(e, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(order[a.File], order[b.File]), cmp.Compare(a.Line, b.Line))
	})
	return e
}
