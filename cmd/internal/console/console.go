// Package console is what all commands share toward the person who typed them:
// streams, exit codes, errors, notes and findings on stderr, progress, completion. It
// knows nothing of any one command.
package console

import (
	"errors"
	"fmt"
	"io"

	"asworn/capture"
)

// Console is one run of the program: its streams and the flags of every command.
type Console struct {
	In       io.Reader
	Out, Err io.Writer
	JSON     bool // JSON on Out instead of tables
	Jobs     int  // workers, at least 1
	Quiet    bool // only errors on Err
}

// Exit codes of every command.
const (
	Done     = 0
	Failed   = 1
	Usage    = 2
	Operator = 3 // done, and some seating needs the operator
)

// ErrOperator ends a command that did its work and found something for the
// operator to do. What that is has been told by then.
var ErrOperator = errors.New("some seating needs the operator")

// UsageError marks a wrong command line.
type UsageError struct{ Err error }

func (e UsageError) Error() string { return e.Err.Error() }

func (e UsageError) Unwrap() error { return e.Err }

// Usagef returns a [UsageError] of that text.
func Usagef(format string, args ...any) error { return UsageError{fmt.Errorf(format, args...)} }

// mostErrors is how many errors are worth reading at once.
const mostErrors = 50

// PrintError prints one line for each of several joined errors, and how many
// more there are; those of a study that have one cause share a line.
func PrintError(w io.Writer, err error) {
	all := lines(err)
	for _, line := range all[:min(len(all), mostErrors)] {
		fmt.Fprintf(w, "asworn: %s\n", Shown(line))
	}
	if more := len(all) - mostErrors; more > 0 {
		fmt.Fprintf(w, "asworn: and %d more; correct these first\n", more)
	}
}

// lines is what the errors that were joined in one say, in their order.
func lines(err error) []string {
	if wrong, ok := err.(capture.StudyErrors); ok {
		return wrong.Lines()
	}
	many, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []string{err.Error()}
	}
	var out []string
	for _, e := range many.Unwrap() {
		out = append(out, lines(e)...)
	}
	return out
}
