package record

import (
	"math"
	"strings"

	"golang.org/x/term"

	"asworn/cmd/internal/console"
	"asworn/docs"
)

// size is how many columns and rows the terminal has; where it does not say, so many
// that nothing is folded, and 0.
func (t *Terminal) size() (width, height int) {
	if f := console.Terminal(t.c.Out); f != nil {
		width, height, _ = term.GetSize(int(f.Fd()))
	}
	if width < 20 {
		width = math.MaxInt
	}
	return width, height
}

// leaves is how far the cautions were turned over on a terminal that is too low for the
// whole page.
type leaves struct {
	at, of int // the leaf that is shown, of how many
}

// leaf is what fits into so many lines, and whether more comes after it; all of it on a
// terminal that has no height.
func (l *leaves) leaf(height int) (text string, more bool) {
	lines := strings.Split(strings.TrimSpace(docs.PlainCautions()), "\n")
	if height < 4 {
		height = len(lines)
	}
	l.of = (len(lines) + height - 1) / height
	l.at = min(l.at, l.of-1)
	return strings.Join(lines[l.at*height:min(len(lines), (l.at+1)*height)], "\n"), l.more()
}

func (l *leaves) more() bool { return l.at < l.of-1 }
