package console

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"asworn/capture"
)

// TestHostileTextOnTheTerminal: what stands in a file cannot drive the terminal,
// turn the writing direction, fill the screen or make a line without end.
func TestHostileTextOnTheTerminal(t *testing.T) {
	const hostile = "a\x1b[2Jb\ac\u202ed\u0085e\r\x00f"
	var many []error
	for i := range 200 {
		many = append(many, fmt.Errorf("%d %s%s", i, hostile, strings.Repeat("x", 5000)))
	}
	var out bytes.Buffer
	PrintError(&out, errors.Join(many[0], errors.Join(many[1:]...)))
	c := &Console{Err: &out}
	c.Note("%s", hostile)
	c.Finding(hostile, capture.Finding{Message: hostile, Mend: hostile})
	for _, c := range []string{"\x1b", "\a", "\u202e", "\u0085", "\r", "\x00"} {
		if strings.Contains(out.String(), c) {
			t.Errorf("%q on the terminal", c)
		}
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != mostErrors+3 || !strings.Contains(lines[mostErrors], "150 more") {
		t.Errorf("%d lines, after the errors %q", len(lines), lines[mostErrors])
	}
	for _, l := range lines {
		if n := utf8.RuneCountInString(l); n > mostShown+100 {
			t.Errorf("a line of %d characters", n)
		}
	}
}
