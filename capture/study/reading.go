package study

import (
	"math"
	"strconv"
	"strings"

	"asworn/capture/textfile"
)

// reading reads where the headphone was seen to sit.
func (s *sheetReader) reading(r textfile.Row, out *Seating) {
	forward, up := s.Field(r, columnReadForward), s.Field(r, columnReadUp)
	switch {
	case forward == "" && up == "":
		return
	case out.Model == "" && out.Point == Blocked:
		s.Report(r.Line, "leave "+columnReadForward+" and "+columnReadUp+" empty, or write the model", "a read position on a bare-ear row, where no headphone is worn")
		return
	case forward == "":
		s.halfReading(r, columnReadForward, columnReadUp, up)
		return
	case up == "":
		s.halfReading(r, columnReadUp, columnReadForward, forward)
		return
	}
	var read Reading
	var ok [2]bool
	read.ForwardMM, ok[0] = s.Number(r, columnReadForward, -MaxReadingMM, MaxReadingMM)
	read.UpMM, ok[1] = s.Number(r, columnReadUp, -MaxReadingMM, MaxReadingMM)
	if ok[0] && ok[1] {
		out.Read = &read
	}
}

func (s *sheetReader) halfReading(r textfile.Row, empty, given, value string) {
	s.Report(r.Line, "read both off the head, or leave both empty", "%s is empty, and %s is %s", empty, given, value)
}

// shareReadings gives a reading to both rows of a placement that was recorded
// at both points, as it may stand in either. Where both hold one, they must agree.
func (s *sheetReader) shareReadings(rows []Seating) {
	first := map[placement]int{}
	for i := range rows {
		p := placementOf(rows[i])
		p.point = ""
		j, twice := first[p]
		if !twice {
			first[p] = i
			continue
		}
		a, b := &rows[j], &rows[i]
		switch {
		case a.Read == nil:
			a.Read = b.Read
		case b.Read == nil:
			b.Read = a.Read
		case *a.Read != *b.Read:
			s.Report(b.Row, "it was not touched in between: write the same in both rows, or leave one row's empty; if it was moved, it is another seating",
				"seating %d of %s on %s was read at %g, %g mm, and in row %d at %g, %g mm",
				b.Number, b.Model, b.Subject, b.Read.ForwardMM, b.Read.UpMM, a.Row, a.Read.ForwardMM, a.Read.UpMM)
		}
	}
}

// ParseReading reads a position as a person writes it: two numbers of mm within
// ±[MaxReadingMM], forward then up, with a comma or blanks between; with blanks between,
// a comma within a number is a decimal one.
func ParseReading(words string) (r Reading, ok bool) {
	fields := strings.Fields(words)
	if len(fields) == 1 || strings.Contains(words, " ,") {
		fields = strings.Split(words, ",")
	}
	if len(fields) != 2 {
		return Reading{}, false
	}
	for i, to := range []*float64{&r.ForwardMM, &r.UpMM} {
		number := strings.ReplaceAll(strings.TrimRight(strings.TrimSpace(fields[i]), ",;"), ",", ".")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil || !(math.Abs(v) <= MaxReadingMM) { // NaN is not
			return Reading{}, false
		}
		*to = v
	}
	return r, true
}
