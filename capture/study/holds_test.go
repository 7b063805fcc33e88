package study

import (
	"strings"
	"testing"
)

// TestHolds: what the file of a row holds.
func TestHolds(t *testing.T) {
	const head = "file,model,subject,point,seating,holds\n"
	for _, c := range []struct {
		row   string
		want  Holds
		files int
		err   string
	}{
		{"a.wav,A,L01,blocked,1,", HoldsRecording, 1, ""},
		{"a.wav,A,L01,blocked,1,Recording", HoldsRecording, 1, ""},
		{"a.wav,A,L01,blocked,1,impulse response", HoldsImpulse, 1, ""},
		{"a-{L|R}.txt,A,L01,blocked,1,", HoldsCurve, 2, ""},
		{"a.txt,A,L01,blocked,1,curve", HoldsCurve, 1, ""},
		{"a.wav,A,L01,blocked,1,curve", "", 0, "is to hold a curve"},
		{"a.txt,A,L01,blocked,1,recording", "", 0, "is a text file"},
		{"a-{L|R}.wav,A,L01,blocked,1,", "", 0, "names a file for each ear"},
		{"a.wav,A,L01,blocked,1,music", "", 0, `holds is "music"`},
	} {
		rows, problems := parseSheet("s.csv", []byte(head+c.row+"\n"))
		if c.err != "" {
			if !strings.Contains(problems.Error(), c.err) {
				t.Errorf("%s: %v", c.row, problems)
			}
			continue
		}
		if len(problems) > 0 || rows[0].Holds != c.want || len(rows[0].Files()) != c.files {
			t.Errorf("%s: %v, %+v", c.row, problems, rows)
		}
	}
}
