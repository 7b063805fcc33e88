package table

import (
	"strings"

	"github.com/clipperhouse/displaywidth"
	"github.com/olekukonko/tablewriter/pkg/twwarp"

	"asworn/report/text"
)

// gap is the space between columns.
const gap = 2

// minText is the narrowest a wrapping column may become.
const minText = 18

// block is a set of columns with their widths.
type block struct{ cols, widths []int }

// blocks cuts the columns into blocks that fit.
func (t Table) blocks(width int) []block {
	var repeat, rest []int
	for i, c := range t.Columns {
		if c.Repeat {
			repeat = append(repeat, i)
		} else {
			rest = append(rest, i)
		}
	}
	var out []block
	cur := append([]int(nil), repeat...)
	for _, c := range rest {
		if len(cur) > len(repeat) && t.least(append(cur[:len(cur):len(cur)], c)) > width {
			out = append(out, t.fit(cur, width))
			cur = append([]int(nil), repeat...)
		}
		cur = append(cur, c)
	}
	return append(out, t.fit(cur, width))
}

// natural is the width a column likes, least what it needs: for text its
// longest unbreakable part or minText.
func (t Table) natural(c int) (natural, least int) {
	for _, line := range strings.Split(t.Columns[c].Head, "\n") {
		natural = max(natural, displaywidth.String(line))
	}
	least = natural
	for _, row := range t.Rows {
		n := displaywidth.String(row[c].Text)
		natural = max(natural, n)
		if t.Columns[c].Kind == Text {
			n = min(n, minText)
		}
		least = max(least, n)
	}
	return natural, least
}

func (t Table) least(cols []int) int {
	sum := gap * (len(cols) - 1)
	for _, c := range cols {
		_, least := t.natural(c)
		sum += least
	}
	return sum
}

// fit gives each column its natural width and takes the excess from the widest
// wrapping column, one cell at a time.
func (t Table) fit(cols []int, width int) block {
	b := block{cols: cols}
	leasts := make([]int, len(cols))
	sum := gap * (len(cols) - 1)
	for i, c := range cols {
		natural, least := t.natural(c)
		b.widths = append(b.widths, natural)
		leasts[i] = least
		sum += natural
	}
	for ; sum > width; sum-- {
		widest := -1
		for i := range b.widths {
			if b.widths[i] > leasts[i] && (widest < 0 || b.widths[i] > b.widths[widest]) {
				widest = i
			}
		}
		if widest < 0 { // not even the least fits: take from the widest text column all the same
			for i, c := range cols {
				if t.Columns[c].Kind == Text && b.widths[i] > 4 && (widest < 0 || b.widths[i] > b.widths[widest]) {
					widest = i
				}
			}
			if widest < 0 {
				break
			}
		}
		b.widths[widest]--
	}
	return b
}

// Wrap breaks s at spaces so that no line is wider than width.
func Wrap(s string, width int) []string {
	lines, _ := twwarp.WrapString(wrappable(s, width), max(width, 1))
	return lines
}

// Fold breaks a line at spaces where it is wider than width, each part behind the spaces
// that the line begins with. A word that is wider stays whole, for it may be a path to copy.
func Fold(line string, width int) string {
	if displaywidth.String(line) <= width {
		return line
	}
	indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
	parts, _ := twwarp.WrapString(strings.Join(strings.Fields(line), " "), max(width-len(indent), 1))
	return indent + strings.Join(parts, "\n"+indent)
}

// wrappable gives a word that is wider than width, which tablewriter would
// leave whole, spaces to wrap at: after a slash or hyphen when it has one.
func wrappable(s string, width int) string {
	width = max(width, 1)
	var out []string
	for _, word := range strings.Fields(text.Printable(s)) {
		for displaywidth.String(word) > width {
			head, tail := breakWord(word, width)
			out = append(out, head)
			word = tail
		}
		out = append(out, word)
	}
	return strings.Join(out, " ")
}

func breakWord(s string, width int) (head, tail string) {
	cut, soft := 0, 0
	for i, r := range s {
		n := i + len(string(r))
		if displaywidth.String(s[:n]) > width && cut > 0 {
			break
		}
		cut = n
		if r == '/' || r == '-' || r == '_' {
			soft = n
		}
	}
	if soft > cut/3 {
		cut = soft
	}
	return s[:cut], s[cut:]
}
