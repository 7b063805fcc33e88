package study

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

const readSheet = `file,model,unit,subject,point,seating,forward_mm,up_mm,rotation_deg,read_forward_mm,read_up_mm,seal,notes
a.wav,Model A,1,fixture,blocked,1,,,,,,,
b.wav,Model A,1,fixture,drum,1,,,,-31.5,12,,
c.wav,Model A,1,fixture,blocked,2,4,-2.5,0,-27,9.5,shim 1 mm,
d.wav,,,L01,blocked,1,,,,,,,
e.wav,Model A,1,L01,blocked,1,,,,-30,0,,
f.wav,Model A,1,L01,blocked,2,,,,,,,
g.wav,Model A,1,L02,blocked,1,,,,0,0,,
h.wav,Model B,1,fixture,blocked,1,,,,-20,15,,
i.wav,Model B,1,fixture,drum,1,,,,,,,
`

// A reading belongs to a placement: it may stand in either of its rows, and
// 0, 0 is a reading while empty is none.
func TestReadings(t *testing.T) {
	want := map[string]*Reading{
		"a.wav": {-31.5, 12}, "b.wav": {-31.5, 12}, "c.wav": {-27, 9.5}, "d.wav": nil, "e.wav": {-30, 0},
		"f.wav": nil, "g.wav": {0, 0}, "h.wav": {-20, 15}, "i.wav": {-20, 15},
	}
	rows, problems := parseSheet("s", []byte(readSheet))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	got := map[string]*Reading{}
	for _, r := range rows {
		got[r.File] = r.Read
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	decimal := strings.NewReplacer(",", ";", "-31.5", "−31,5", "9.5", "9,5").Replace(readSheet)
	again, problems := parseSheet("s", []byte(decimal))
	if d := cmp.Diff(rows, again); d != "" || len(problems) > 0 {
		t.Errorf("semicolons and decimal commas: %v\n%s", problems, d)
	}
}

// Rows with readings are written and read as the same; the columns are there
// when a row has a reading, and in every plan.
func TestWriteReadings(t *testing.T) {
	rows, problems := parseSheet("s", []byte(readSheet))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var b bytes.Buffer
	if err := WriteSheet(&b, rows); err != nil {
		t.Fatal(err)
	}
	back, problems := parseSheet("s", b.Bytes())
	if d := cmp.Diff(rows, back); d != "" || len(problems) > 0 {
		t.Errorf("%v\n%s\n%s", problems, d, b.String())
	}
	for i := range rows {
		rows[i].Read = nil
	}
	for _, c := range []struct {
		name  string
		write func() error
		read  bool
	}{
		{"sheet", func() error { return WriteSheet(&b, rows) }, false},
		{"plan", func() error { return WritePlan(&b, rows) }, true},
	} {
		b.Reset()
		if err := c.write(); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(b.String(), "rotation_deg,read_forward_mm,read_up_mm,seal"); got != c.read {
			t.Errorf("%s has the columns of readings: %v, want %v\n%s", c.name, got, c.read, b.String())
		}
		back, problems := parseSheet("s", b.Bytes())
		if d := cmp.Diff(rows, back, cmpopts.IgnoreFields(Seating{}, "Row")); d != "" || len(problems) > 0 {
			t.Errorf("%s: %v\n%s", c.name, problems, d)
		}
	}
}

func TestReadingErrors(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"no up", "-27,9.5", "-27,", `s:4: read_up_mm is empty, and read_forward_mm is -27; read both off the head, or leave both empty`},
		{"no forward", "-27,9.5", ",9.5", `s:4: read_forward_mm is empty, and read_up_mm is 9.5; read both`},
		{"no column", ",read_up_mm", ",", `s:4: read_up_mm is empty, and read_forward_mm is -27; read both`},
		{"bare ear", "L01,blocked,1,,,,,,", "L01,blocked,1,,,,3,4,", `s:5: a read position on a bare-ear row, where no headphone is worn; leave read_forward_mm and read_up_mm empty`},
		{"bare ear, half", "L01,blocked,1,,,,,,", "L01,blocked,1,,,,3,,", `s:5: a read position on a bare-ear row`},
		{"text", "-27,9.5", "-27,high", `s:4: read_up_mm is "high", not a number; write a number, -200 to 200`},
		{"hex", "-27,9.5", "0x10,9.5", `s:4: read_forward_mm is "0x10", not a number`},
		{"too far", "-27,9.5", "-27,201", `s:4: read_up_mm is 201: impossible; write a number, -200 to 200`},
		{"infinite", "-27,9.5", "-inf,9.5", `s:4: read_forward_mm is -inf: impossible`},
		{"comma", "-27,9.5", `"-27,5",9.5`, `s:4: read_forward_mm is "-27,5": a comma inside a number; write it with a point: -27.5`},
		{"column misspelt", "read_up_mm", "readup_mm", `s:1: unknown column "readup_mm"; did you mean read_up_mm?`},
		{"two of one placement", "blocked,1,,,,,,,\nb", "blocked,1,,,,-31.5,11,,\nb", `s:3: seating 1 of Model A on fixture was read at -31.5, 12 mm, and in row 2 at -31.5, 11 mm; it was not touched in between`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(readSheet, c.old, c.new, 1)
			if text == readSheet {
				t.Fatalf("%q is not in the sheet", c.old)
			}
			_, problems := parseSheet("s", []byte(text))
			if got := problems.Error(); !strings.Contains(got, c.want) {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// A reading is two numbers within reach, with a comma or blanks between.
func TestParseReading(t *testing.T) {
	want := Reading{ForwardMM: -31.5, UpMM: 12}
	for _, words := range []string{"-31.5,12", " -31.5 , 12", "-31.5 12", "-31,5 12", "-31,5, 12,0", "-31.5, 12"} {
		if got, ok := ParseReading(words); !ok || got != want {
			t.Errorf("%q: %+v, %t, want %+v", words, got, ok, want)
		}
	}
	for _, words := range []string{"", "3", "3,4,5", "3,,4", "3,high", "nan,4", "-201,4", "3 4 5", "3,4,5 6"} {
		if got, ok := ParseReading(words); ok {
			t.Errorf("%q is taken as %+v", words, got)
		}
	}
}
