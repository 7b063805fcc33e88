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

func parseText(file string, text []byte) (Curve, textfile.Errors) {
	var c Curve
	var problems textfile.Errors
	report := func(line int, mend, format string, args ...any) {
		if len(problems) < maxForeignProblems {
			problems = append(problems, textfile.Problem{File: file, Line: line, Message: fmt.Sprintf(format, args...), Mend: mend})
		}
	}
	if textfile.NotPlain(text) {
		report(0, "save it as plain text (UTF-8)", "not plain text (UTF-16, or a program's own format)")
		return c, problems
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if bytes.IndexByte(text, '\n') < 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	lines := bufio.NewScanner(bytes.NewReader(text))
	lines.Buffer(nil, len(text)+1)
	phased := true
	head, headLine := "", 0
	whole := 0 // the first line of three or more whole numbers with commas between, while there are no others
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "//") || strings.ContainsAny(line[:1], `#*;"`) {
			continue
		}
		v, ok := numbers(line)
		if ok && len(c.Hz) == 0 && wholeBetweenCommas(line) {
			whole = n
		} else if ok && !wholeBetweenCommas(line) {
			whole = 0
		}
		switch {
		case !ok && len(c.Hz) == 0:
			head, headLine = line, n
			continue
		case !ok:
			report(n, "write a frequency in Hz, a level in dB and, if known, a phase in degrees", "%q is not a line of numbers", short(line))
			continue
		case !(v[0] > 0 && v[0] <= maxCurveHz):
			if v[0] == 0 && len(c.Hz) == 0 {
				continue // the bin of direct current, which has no place on a logarithmic axis
			}
			report(n, "frequencies are in Hz, above 0", "frequency %g", v[0])
			continue
		case !(v[1] >= -maxCurveDB && v[1] <= maxCurveDB):
			report(n, "levels are in dB", "level %g", v[1])
			continue
		}
		if k := len(c.Hz); k > 0 && v[0] <= c.Hz[k-1] {
			report(n, "sort the lines by frequency and keep one of each", "%g Hz follows %g Hz", v[0], c.Hz[k-1])
			continue
		}
		c.Hz, c.DB = append(c.Hz, v[0]), append(c.DB, v[1])
		if phased = phased && len(v) > 2; phased {
			c.PhaseDeg = append(c.PhaseDeg, v[2])
		}
	}
	if !phased {
		c.PhaseDeg = nil
	}
	const perLine = "write one line per frequency: hertz, level in dB"
	switch last := len(c.Hz) - 1; {
	case whole > 0 && (len(problems) > 0 || last > 0 && c.Hz[last] >= leastTopHz): // what else is wrong may come of that
		problems = nil
		report(whole, "separate with tabs or semicolons, or write numbers with a point: 20.0, 1.5", "commas may separate here or be decimal")
	case len(problems) > 0:
	case last < 0 && headLine > 0:
		report(headLine, perLine+"; numbers without units or quotes", "%q is not a line of numbers, nor is any before it", short(head))
	case last < 1:
		report(0, perLine, "%d points make no curve", last+1)
	case c.Hz[last] < leastTopHz:
		report(0, "write frequencies in Hz, not in kHz", "the highest frequency is %g Hz", c.Hz[last])
	}
	return c.Unwrapped(), problems
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
