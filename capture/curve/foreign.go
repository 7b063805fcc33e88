package curve

import (
	"bufio"
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"asworn/capture/disk"
	"asworn/capture/textfile"
)

// ReadText reads a curve that another program wrote as text: per line a
// frequency in hertz, a level in dB and, if there is one, a phase in degrees,
// separated by tabs, semicolons, blanks or commas; with decimal commas where
// commas do not separate. Lines before the first of numbers are a head, and such
// that begin with # * ; " or // are comments. A column behind the third is not
// read. Errors are [textfile.Errors], at most ten.
func ReadText(path string) (Curve, error) {
	text, err := disk.ReadFile(path, textfile.MaxBytes)
	if err != nil {
		return Curve{}, textfile.Errors{textfile.Missing(path, err)}
	}
	c, problems := parseText(path, text)
	if len(problems) > 0 {
		return Curve{}, problems
	}
	return c, nil
}

const (
	maxForeignProblems = 10
	// leastTopHz is what the highest frequency of a curve is at least: one that ends
	// before it says nothing of a headphone, and is in kHz as a rule.
	leastTopHz = 100
)

// foreignText is a text that is being read.
type foreignText struct {
	file     string
	curve    Curve
	phased   bool // every line so far has a phase
	problems textfile.Errors
	head     string // the last line before the numbers
	headLine int
	whole    int // the first line of three or more whole numbers with commas between, while there are no others
}

func (t *foreignText) report(line int, mend, format string, args ...any) {
	if len(t.problems) < maxForeignProblems {
		t.problems = append(t.problems, textfile.Problem{File: t.file, Line: line, Message: fmt.Sprintf(format, args...), Mend: mend})
	}
}

func parseText(file string, text []byte) (Curve, textfile.Errors) {
	t := &foreignText{file: file, phased: true}
	if textfile.NotPlain(text) {
		t.report(0, "save it as plain text (UTF-8)", "not plain text (UTF-16, or a program's own format)")
		return Curve{}, t.problems
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if bytes.IndexByte(text, '\n') < 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	lines := bufio.NewScanner(bytes.NewReader(text))
	lines.Buffer(nil, len(text)+1)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line != "" && !strings.HasPrefix(line, "//") && !strings.ContainsAny(line[:1], `#*;"`) {
			t.line(n, line)
		}
	}
	if !t.phased {
		t.curve.PhaseDeg = nil
	}
	t.judge()
	return t.curve.Unwrapped(), t.problems
}

// line reads line n, which is no comment.
func (t *foreignText) line(n int, line string) {
	v, ok := numbers(line)
	c, first := &t.curve, len(t.curve.Hz) == 0
	if ok && first && wholeBetweenCommas(line) {
		t.whole = n
	} else if ok && !wholeBetweenCommas(line) {
		t.whole = 0
	}
	switch {
	case !ok && first:
		t.head, t.headLine = line, n
	case !ok:
		t.report(n, "write a frequency in Hz, a level in dB and, if known, a phase in degrees", "%q is not a line of numbers", short(line))
	case v[0] == 0 && first: // the bin of direct current, which has no place on a logarithmic axis
	case !(v[0] > 0 && v[0] <= maxCurveHz):
		t.report(n, "frequencies are in Hz, above 0", "frequency %g", v[0])
	case !(v[1] >= -maxCurveDB && v[1] <= maxCurveDB):
		t.report(n, "levels are in dB", "level %g", v[1])
	case !first && v[0] <= c.Hz[len(c.Hz)-1]:
		t.report(n, "sort the lines by frequency and keep one of each", "%g Hz follows %g Hz", v[0], c.Hz[len(c.Hz)-1])
	default:
		c.Hz, c.DB = append(c.Hz, v[0]), append(c.DB, v[1])
		if t.phased = t.phased && len(v) > 2; t.phased {
			c.PhaseDeg = append(c.PhaseDeg, v[2])
		}
	}
}

// judge reports what is wrong with the text as a whole.
func (t *foreignText) judge() {
	const perLine = "write one line per frequency: hertz, level in dB"
	hz := t.curve.Hz
	switch last := len(hz) - 1; {
	case t.whole > 0 && (len(t.problems) > 0 || last > 0 && hz[last] >= leastTopHz): // what else is wrong may come of that
		t.problems = nil
		t.report(t.whole, "separate with tabs or semicolons, or write numbers with a point: 20.0, 1.5", "commas may separate here or be decimal")
	case len(t.problems) > 0:
	case last < 0 && t.headLine > 0:
		t.report(t.headLine, perLine+"; numbers without units or quotes", "%q is not a line of numbers, nor is any before it", short(t.head))
	case last < 1:
		t.report(0, perLine, "%d points make no curve", last+1)
	case hz[last] < leastTopHz:
		t.report(0, "write frequencies in Hz, not in kHz", "the highest frequency is %g Hz", hz[last])
	}
}

// wholeBetweenCommas reports whether a line is three whole numbers or more with nothing
// but commas between, which may as well be fewer numbers with decimal commas.
func wholeBetweenCommas(line string) bool {
	return strings.Count(line, ",") > 1 && !strings.ContainsAny(line, ".eE;\t ")
}

// numbers splits a line into two or three numbers.
func numbers(line string) ([]float64, bool) {
	for _, separator := range []string{"\t", ";", ", ", ",", " "} {
		fields := splitOff(line, separator)
		if len(fields) < 2 {
			continue
		}
		if separator != "," { // then commas are decimal
			for i := range fields {
				fields[i] = strings.Replace(fields[i], ",", ".", 1)
			}
		} else if strings.Contains(line, " ") {
			continue // decimal commas in a line that blanks separate, or both: blanks do
		}
		if v, ok := parseAll(fields[:min(3, len(fields))]); ok {
			return v, true
		}
	}
	return parseAll(splitOff(strings.ReplaceAll(line, ",", " "), " ")) // "20, 94.1"
}

func splitOff(line, separator string) []string {
	if separator == " " {
		return strings.Fields(line)
	}
	fields := strings.Split(strings.Trim(line, separator), separator)
	for i := range fields {
		fields[i] = strings.TrimSpace(fields[i])
	}
	return fields
}

func parseAll(fields []string) ([]float64, bool) {
	if len(fields) < 2 {
		return nil, false
	}
	out := make([]float64, 0, 3)
	for _, f := range fields[:min(3, len(fields))] {
		v, err := strconv.ParseFloat(strings.Replace(f, "−", "-", 1), 64)
		if err != nil || v != v || strings.ContainsAny(f, "xXpP_") {
			return nil, false
		}
		out = append(out, v)
	}
	return out, true
}

func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
