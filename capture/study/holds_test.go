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

// TestHoldsOfStudy: what study.toml says of all files, and rows that say otherwise.
func TestHoldsOfStudy(t *testing.T) {
	const head = "file,model,subject,point,seating,holds\n"
	for _, c := range []struct {
		toml, row string
		want      Holds
		err       string
	}{
		{`holds = "Impulse  response"`, "a.wav,A,L01,blocked,1,", HoldsImpulse, ""},
		{`holds = "impulse response"`, "a.wav,A,L01,blocked,1,recording", HoldsRecording, ""},
		{`holds = "impulse response"`, "a.txt,A,L01,blocked,1,", HoldsCurve, ""},
		{`holds = "curve"`, "a.txt,A,L01,blocked,1,", HoldsCurve, ""},
		{`holds = "curve"`, "a.wav,A,L01,blocked,1,", "", "is to hold a curve"},
		{`holds = "recording"`, "a.wav,A,L01,blocked,1,", HoldsRecording, ""},
		{`holds = "music"`, "a.wav,A,L01,blocked,1,", HoldsRecording, `study.toml:1: holds is "music"; write recording, impulse response or curve`},
		{`holds = 3`, "a.wav,A,L01,blocked,1,", HoldsRecording, "study.toml:1: holds must be text in quotes"},
	} {
		s, problems := parseStudy("study.toml", []byte(c.toml))
		rows, more := parseSheetOf("s.csv", []byte(head+c.row+"\n"), s.Holds, nil)
		problems = append(problems, more...)
		if c.err != "" {
			if !strings.Contains(problems.Error(), c.err) {
				t.Errorf("%s, %s: %v", c.toml, c.row, problems)
			}
			continue
		}
		if len(problems) > 0 || rows[0].Holds != c.want {
			t.Errorf("%s, %s: %v, %+v", c.toml, c.row, problems, rows)
		}
	}
}

// TestHoldsIsWritten: a sheet says of each row what it holds, once one holds no recording.
func TestHoldsIsWritten(t *testing.T) {
	rows, problems := parseSheetOf("s.csv", []byte("file,model,subject,point,seating,holds\na.wav,A,L01,blocked,1,\nb.wav,A,L01,blocked,2,recording\n"), HoldsImpulse, nil)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var b strings.Builder
	if err := WriteSheet(&b, rows); err != nil {
		t.Fatal(err)
	}
	back, problems := parseSheetOf("s.csv", []byte(b.String()), HoldsImpulse, nil)
	if len(problems) > 0 || back[0].Holds != HoldsImpulse || back[1].Holds != HoldsRecording {
		t.Errorf("%v, %+v from\n%s", problems, back, b.String())
	}
}
