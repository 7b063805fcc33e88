package text

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Printable replaces control characters and changes of the writing direction, so
// that a note cannot drive a terminal or disguise what it says.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return ' '
		}
		return r
	}, s)
}

// Slug makes a name fit for a file: lower-case letters and digits with single
// hyphens; "x" when nothing is left.
func Slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	if out := strings.TrimSuffix(b.String(), "-"); out != "" {
		return out
	}
	return "x"
}

// Sentence begins with a capital and ends with a full stop.
func Sentence(s string) string {
	s = OneLine(s)
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// Dash stands for a text that is empty.
func Dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// Names counts how often a name was given out.
type Names map[string]int

// Next gives the name, with a number from the second time on: two models may
// differ only in characters that a file name does not hold.
func (n Names) Next(name string) string {
	n[name]++
	if n[name] == 1 {
		return name
	}
	return n.Next(name + "-" + strconv.Itoa(n[name]))
}

// OneLine makes running text of one line: white space is one space each, and
// nothing in it drives a terminal (Printable).
func OneLine(s string) string { return strings.Join(strings.Fields(Printable(s)), " ") }

// Join puts parts behind each other with semicolons.
func Join(parts []string) string { return strings.Join(parts, "; ") }

// Plural counts: "1 model", "2 models".
func Plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + one + "s"
}
