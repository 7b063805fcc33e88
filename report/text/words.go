package text

import (
	"fmt"
	"hash/fnv"
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

// Bounded cuts a text that is longer than most characters and says how many more
// there are.
func Bounded(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most]) + " … (" + strconv.Itoa(len(r)-most) + " more characters)"
}

// slugBytes is what a slug takes at most: file systems take 255 bytes, and names
// hold more than one slug.
const slugBytes = 60

// Slug makes a name fit for a file: lower-case letters and digits with single
// hyphens, of at most 69 bytes: a longer name ends in a hash of the whole; "x"
// when nothing is left.
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
	out := strings.TrimSuffix(b.String(), "-")
	switch {
	case out == "":
		return "x"
	case len(out) > slugBytes:
		h := fnv.New32a()
		h.Write([]byte(s))
		cut := slugBytes
		for !utf8.RuneStart(out[cut]) {
			cut--
		}
		out = fmt.Sprintf("%s-%08x", strings.TrimSuffix(out[:cut], "-"), h.Sum32())
	}
	return out
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
