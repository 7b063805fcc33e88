package record

import (
	"strings"
	"testing"

	"asworn/docs"
)

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
