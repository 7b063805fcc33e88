package study

import (
	"bytes"
	"testing"

	"asworn/capture/internal/problemtest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// FuzzStudyTOML feeds any text as study.toml: no panic, problems in full, and
// a study without problems is written and read as the same.
func FuzzStudyTOML(f *testing.F) {
	f.Add([]byte(goodTOML))
	f.Add([]byte("[reading]\nuncertainty_mm = 0.05\nlandmark_mm = 20\nfixture_landmark_mm = 1e-9"))
	f.Add([]byte("sweep.file = 'music.wav'\nchannels = {left = 2}"))
	f.Add([]byte("[sweep]\nrate_hz = '48'\nrepeats = 2.5\nseconds = nan\nkind = 3\n[[fixture]]\nname = 1"))
	f.Add([]byte("[microphone.left]\ncorrection = '../x'\n[microphone.centre]\nx = 1\n[limits]\nconfidence = inf"))
	f.Add([]byte("title = \"\"\"\na\"\"\"\nsweep = 1979-05-27\n\"\" = [ {a = 1}, 0x10 ]"))
	f.Add([]byte("t.00000=0"))                                                  // an unknown key in an unknown table
	f.Add([]byte("[sweep]\nstart_hz = 0.001\nstop_hz = 0.008\nrate_hz = 8000")) // fades longer than the sweep
	f.Fuzz(func(t *testing.T, text []byte) {
		s, problems := parseStudy("f", text)
		_, again := parseStudy("f", text)
		problemtest.Check(t, text, problems, again)
		if len(problems) > 0 {
			return
		}
		var b bytes.Buffer
		if err := WriteSettings(&b, s.Study); err != nil {
			t.Fatal(err)
		}
		back, problems := parseStudy("f", b.Bytes())
		if len(problems) > 0 {
			t.Fatalf("written and not read: %v\n%s", problems, b.Bytes())
		}
		if d := cmp.Diff(s.Study, back.Study, ignoreUnused); d != "" {
			t.Fatalf("%s\n%s", d, b.Bytes())
		}
	})
}

// ignoreUnused leaves out the level of a calibrator that was not recorded.
var ignoreUnused = cmp.FilterPath(func(p cmp.Path) bool { return p.Last().String() == ".CalibratorDBSPL" }, cmp.Ignore())

// FuzzSheet feeds any text as seatings.csv: no panic, problems in full, and a
// sheet without problems is written and read as the same rows.
func FuzzSheet(f *testing.F) {
	f.Add([]byte(goodSheet))
	f.Add([]byte(readSheet))
	f.Add([]byte("file;model;subject;point;seating;read_up_mm;read_forward_mm\na;M;fixture;blocked;1;;\nb;M;fixture;drum;1;-1,5;200\nc;;L1;blocked;1;1;1\nd;M;L1;blocked;1;;-0\n"))
	f.Add([]byte("\ufefffile;model;subject;point;seating;up_mm\r\na.wav;M;L01;Blocked;1;-2,5\r\n;;;;;\r\n"))
	f.Add([]byte("file,model,subject,point,seating\rrecordings\\a.wav,\"M \"\"x\"\"\",fixture,drum,1e1\r"))
	f.Add([]byte("file\tmodel\tsubject\tpoint\tseating\tseating\tx\n\t\tl01\tdrum\tNaN\t\t\n../a\t\t\"L01\n\"\tblocked\t0x1p3\t\t\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		rows, problems := parseSheet("f", text)
		_, again := parseSheet("f", text)
		problemtest.Check(t, text, problems, again)
		if len(problems) > 0 {
			return
		}
		var b bytes.Buffer
		if err := WriteSheet(&b, rows); err != nil {
			t.Fatal(err)
		}
		back, problems := parseSheet("f", b.Bytes())
		if len(problems) > 0 {
			t.Fatalf("written and not read: %v\n%s", problems, b.Bytes())
		}
		if d := cmp.Diff(rows, back, cmpopts.IgnoreFields(Seating{}, "Row")); d != "" {
			t.Fatalf("%s\n%s", d, b.Bytes())
		}
	})
}

// FuzzReadings feeds any text as readings.csv: no panic, problems in full, and
// readings without problems are written and read as the same rows.
func FuzzReadings(f *testing.F) {
	f.Add([]byte("subject,model,seating,side,forward_mm,up_mm,reader,notes\nL01,Model A,1,left,1.5,-2,AB,\nL01,,,right,0.5,0.5,,by the tragus\n"))
	f.Add([]byte("subject;forward_mm;up_mm;model;seating\nfixture;1,5;2;M;1\nfixture;;;M;2\n"))
	f.Add([]byte("\ufeffsubject\tup_mm\tforward_mm\tside\r\nL1\t1e9\tNaN\tLeft\r\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		rows, planned, problems := parseReadings("f", text)
		_, _, again := parseReadings("f", text)
		problemtest.Check(t, text, problems, again)
		if len(problems) > 0 || len(rows)+len(planned) == 0 {
			return
		}
		var b bytes.Buffer
		if err := WriteReadings(&b, rows, planned); err != nil {
			t.Fatal(err)
		}
		back, backPlanned, problems := parseReadings("f", b.Bytes())
		if len(problems) > 0 {
			t.Fatalf("written and not read: %v\n%s", problems, b.Bytes())
		}
		if d := cmp.Diff([][]ReadingRow{rows, planned}, [][]ReadingRow{back, backPlanned}, cmpopts.IgnoreFields(ReadingRow{}, "Row")); d != "" {
			t.Fatalf("%s\n%s", d, b.Bytes())
		}
	})
}
