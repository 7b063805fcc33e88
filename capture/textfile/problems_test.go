package textfile

import "testing"

// TestLines: many rows with one cause are one line, with their number and the
// first of them.
func TestLines(t *testing.T) {
	var e Errors
	for i := range 152 {
		e = append(e, Problem{File: "seatings.csv", Line: i + 2, Item: "r.wav", Message: "there is no such file", Mend: "record it"})
	}
	e = append(e, Problem{File: "seatings.csv", Line: 9, Message: "seating is empty", Mend: "fill it in"})
	lines := e.Lines()
	if len(lines) != 2 || lines[0] != "seatings.csv: 152 rows (2, 3, 4, …): there is no such file (r.wav, r.wav, r.wav, …); record it" ||
		lines[1] != "seatings.csv:9: seating is empty; fill it in" {
		t.Errorf("%q", lines)
	}
}
