package record

import (
	"strings"
	"testing"

	"asworn/docs"
)

func TestFolded(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  string
	}{
		{"a line that fits", 16, "a line that fits"},
		{"  a line  that does not", 12, "  a line\n  that does\n  not"},
		{"unbreakable", 5, "unbreakable"},
		{"耳と耳 の間", 8, "耳と耳\nの間"},
		{"", 5, ""},
	} {
		if got := folded(c.text, c.width); got != c.want {
			t.Errorf("%q in %d columns: %q, want %q", c.text, c.width, got, c.want)
		}
	}
}

// Whatever the height of the terminal, its leaves are the cautions, all of them in order.
func TestLeaves(t *testing.T) {
	for _, height := range []int{-3, 0, 4, 7, 16, 1000} {
		var l leaves
		var all []string
		for {
			text, more := l.leaf(height)
			if n := strings.Count(text, "\n") + 1; height >= 4 && n > height {
				t.Errorf("%d lines on %d", n, height)
			}
			all = append(all, text)
			if !more {
				break
			}
			l.at++
		}
		if got := strings.Join(all, "\n"); got != strings.TrimSpace(docs.PlainCautions()) {
			t.Errorf("height %d: %s", height, got)
		}
	}
}
