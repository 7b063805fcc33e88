// Package problemtest checks in tests what a text file is said to be wrong with.
package problemtest

import (
	"bytes"
	"testing"

	"asworn/capture/textfile"
)

// Check requires of every problem what the operator needs, and that it
// comes again the same.
func Check(t *testing.T, text []byte, got, again textfile.Errors) {
	t.Helper()
	lines := bytes.Count(text, []byte{'\n'}) + bytes.Count(text, []byte{'\r'}) + 1
	for _, p := range got {
		if p.File != "f" || p.Message == "" || p.Mend == "" || p.Line < 0 || p.Line > lines {
			t.Errorf("of %d lines: %#v", lines, p)
		}
		if bytes.ContainsAny([]byte(p.Error()), "\n\r") {
			t.Errorf("not one line: %q", p.Error())
		}
	}
	if a, b := got.Error(), again.Error(); a != b {
		t.Errorf("not the same again:\n%s\n%s", a, b)
	}
}
