package study

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestLoadReadings(t *testing.T) {
	path := filepath.Join(t.TempDir(), ReadingsFile)
	for _, c := range []struct {
		name, text string
		want       []ReadingRow
		problem    string
	}{
		{"all columns", "subject,model,seating,side,forward_mm,up_mm,reader\nL01,Model A,2,left,3.5,-1,R1\nFixture,,,,0.5,0,R2\n",
			[]ReadingRow{{Row: 2, Subject: "L01", Model: "Model A", Number: 2, Side: LeftSide, ForwardMM: 3.5, UpMM: -1, Reader: "R1"},
				{Row: 3, Subject: FixtureSubject, ForwardMM: 0.5, Reader: "R2"}}, ""},
		{"decimal commas", "subject;forward_mm;up_mm;model;seating\nL01;1,5;2;Model A;1\n",
			[]ReadingRow{{Row: 2, Subject: "L01", Model: "Model A", Number: 1, ForwardMM: 1.5, UpMM: 2}}, ""},
		{"no up", "subject,forward_mm\nL01,1\n", nil, "there is no column up_mm"},
		{"nobody", "subject,forward_mm,up_mm\n,1,2\n", nil, ":2: subject is empty"},
		{"side", "subject,forward_mm,up_mm,model,seating,side\nL01,1,2,Model A,1,top\n", nil, `:2: side is "top"; write left, right`},
		{"no seating", "subject,forward_mm,up_mm,model,seating\nL01,1,2,Model A,\n", nil, ":2: seating is empty"},
		{"half a seating", "subject,forward_mm,up_mm,model,seating\nL01,1,2,Model A,1.5\n", nil, "not a whole number"},
		{"no model", "subject,forward_mm,up_mm,model,seating\nL01,1,2,,3\n", nil, "seating is 3, and model is empty"},
		{"far", "subject,forward_mm,up_mm\nL01,300,2\n", nil, "forward_mm is 300: impossible"},
		{"none", "subject,forward_mm,up_mm\n", nil, "no rows"},
	} {
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		got, err := LoadReadings(path)
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s: %s", c.name, d)
		}
		if (err == nil) != (c.problem == "") || err != nil && !strings.Contains(err.Error(), c.problem) {
			t.Errorf("%s: %v, want %q", c.name, err, c.problem)
		}
	}
	want := []ReadingRow{{Row: 2, Subject: "L01", Model: "Model A", Number: 2, Side: LeftSide, ForwardMM: 3.5, UpMM: -1, Reader: "R1", Notes: "glasses, thick"},
		{Row: 3, Subject: FixtureSubject, ForwardMM: 0.5}}
	var b strings.Builder
	if err := WriteReadings(&b, want, nil); err != nil {
		t.Fatal(err)
	}
	if got, planned, problems := parseReadings("", []byte(b.String())); !cmp.Equal(got, want) || planned != nil || problems != nil {
		t.Errorf("written and read again: %+v, %v", got, problems)
	}
	b.Reset()
	if err := WriteReadings(&b, want[1:], want[:1]); err != nil {
		t.Fatal(err)
	}
	got, planned, problems := parseReadings("", []byte(b.String()))
	read, open := want[1], want[0]
	read.Row, open.Row, open.ForwardMM, open.UpMM = 2, 3, 0, 0
	if !cmp.Equal(got, []ReadingRow{read}) || !cmp.Equal(planned, []ReadingRow{open}) || problems != nil {
		t.Errorf("planned and not read yet: %+v, %+v, %v", got, planned, problems)
	}
	if _, err := LoadReadings(filepath.Join(t.TempDir(), "none.csv")); err == nil || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("missing file: %v", err)
	}
}

// Rows of readings.csv name seatings of the sheet, which then hold no reading of their own.
func TestReadingsOfStudy(t *testing.T) {
	s := Study{Dir: t.TempDir(), Seatings: []Seating{
		{Row: 2, Subject: "L01", Model: "Model A", Number: 1}, {Row: 3, Subject: "L01", Model: "Model A", Number: 2, Read: &Reading{}}}}
	if p := s.readReadings(); p != nil || s.Readings != nil {
		t.Errorf("without the file: %v", p)
	}
	text := "subject,forward_mm,up_mm,model,seating\nL01,1,2,Model A,1\nL01,1,2,,\nL02,1,2,Model A,1\nL01,1,2,Model A,2\n"
	if err := os.WriteFile(filepath.Join(s.Dir, ReadingsFile), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	p := s.readReadings()
	if len(p) != 2 || len(s.Readings) != 4 || !strings.Contains(p[0].Error(), "readings.csv:4: seating 1 of Model A on L02 is not in seatings.csv") ||
		!strings.Contains(p[1].Error(), "readings.csv:5: seating 2 of Model A on L01 has a reading in seatings.csv too") {
		t.Errorf("%v", p)
	}
}
