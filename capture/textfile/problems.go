// Package textfile reads what people write with an editor or a spreadsheet and
// says in which line something is wrong and what mends it. It does not know what
// the files are for.
package textfile

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

// Problem is one thing wrong with a study.
type Problem struct {
	File    string // the file in which to mend it
	Line    int    // 1-based line, or row of the sheet (the head is row 1); 0 when it concerns the whole file
	Item    string // what of the row it concerns, such as the recording's file; "" when the message says it
	Message string // what was found; the same words for the same cause
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
	if p.Item != "" {
		b.WriteString(": " + p.Item)
	}
	b.WriteString(": " + p.Message)
	if p.Mend != "" {
		b.WriteString("; " + p.Mend)
	}
	return b.String()
}

// Unwrap returns what was underneath. It is nil for a problem of the text itself.
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

// firstRows is how many rows a line names that stands for many.
const firstRows = 3

// Lines gives one line per cause: problems of one file with the same words are
// told once, with their number and the first rows.
func (e Errors) Lines() []string {
	type cause struct{ file, message, mend string }
	var order []cause
	of := map[cause][]Problem{}
	for _, p := range e {
		c := cause{p.File, p.Message, p.Mend}
		if of[c] == nil {
			order = append(order, c)
		}
		of[c] = append(of[c], p)
	}
	var out []string
	for _, c := range order {
		all := of[c]
		if len(all) == 1 {
			out = append(out, all[0].Error())
			continue
		}
		var rows, items []string
		for _, p := range all[:min(len(all), firstRows)] {
			rows = append(rows, strconv.Itoa(p.Line))
			if p.Item != "" {
				items = append(items, p.Item)
			}
		}
		more := ""
		if len(all) > firstRows {
			more = ", …"
		}
		line := fmt.Sprintf("%s: %d rows (%s%s): %s", c.file, len(all), strings.Join(rows, ", "), more, c.message)
		if len(items) > 0 {
			line += " (" + strings.Join(items, ", ") + more + ")"
		}
		if c.mend != "" {
			line += "; " + c.mend
		}
		out = append(out, line)
	}
	return out
}

// Unwrap returns every problem, for errors.Is and errors.As. Nil gives none.
func (e Errors) Unwrap() []error {
	out := make([]error, len(e))
	for i, p := range e {
		out[i] = p
	}
	return out
}

// Sorted returns the problems in the order of the lines, those of one file
// together, or nil when there are none.
func (e Errors) Sorted() error {
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

// MaxBytes is the size in bytes beyond which a text file cannot be part of a study.
const MaxBytes = 16 << 20

// Missing is the problem of a text file that cannot be read.
func Missing(path string, err error) Problem {
	p := Problem{File: path, Message: Reason(err), Mend: "see that it is a text file which you may read", Err: err}
	if errors.Is(err, fs.ErrNotExist) {
		p.Message, p.Mend = "there is no such file", "make it (docs/study-format.md), or name the folder that holds it"
	}
	return p
}

// Reason is an error of the operating system without the path, which the
// problem names already.
func Reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}
