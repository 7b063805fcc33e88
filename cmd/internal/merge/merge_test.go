package merge

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture/study"
)

// files are the texts of a study by path; the sheet begins with sheetHead.
type files map[string]string

const sheetHead = "file,model,unit,subject,point,seating,forward_mm,loudspeaker,seal,read_forward_mm,read_up_mm\n"

func (f files) write(t *testing.T, dir string) string {
	t.Helper()
	for name, text := range f {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if name == study.SheetFile {
			text = sheetHead + text
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// with is f and what more holds, which goes before.
func (f files) with(more files) files {
	out := maps.Clone(f)
	maps.Copy(out, more)
	return out
}

// held are all files below a folder.
func held(t *testing.T, dir string) files {
	t.Helper()
	out := files{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(name)] = string(text)
		return err
	})
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return out
}

const twoFixtures = "[fixtures.old]\nreference = 'calibration/old.csv'\n[fixtures.new]\nreference = 'calibration/new.csv'\n"

var one = files{
	study.SettingsFile:    twoFixtures,
	"calibration/old.csv": "frequency_hz,level_db\n20,1\n20000,2\n",
	"calibration/new.csv": "frequency_hz,level_db\n20,1\n20000,3\n",
	study.SheetFile: "bare/l01-{L|R}.txt,,,L01,blocked,1,,front,,,\n" +
		"a/l01-{L|R}.txt,Model A,,L01,blocked,1,,,glasses,,\n" +
		"a/old-1.wav,Model A,,old,blocked,1,,,,2,3\n",
	"bare/l01-L.txt":   "20 1\n20000 2\n",
	"bare/l01-R.txt":   "20 1\n20000 3\n",
	"a/l01-L.txt":      "20 4\n20000 2\n",
	"a/l01-R.txt":      "20 4\n20000 3\n",
	study.ReadingsFile: "subject,forward_mm,up_mm,model,seating,side,reader\nL01,1,2,Model A,1,left,R1\nold,0.5,0.5,,,,R1\nL01,,,Model A,1,right,R1\n",
}

var two = one.with(files{
	study.SheetFile: "bare/l01-{L|R}.txt,,,L01,blocked,1,,front,,,\n" +
		"bare/l01-side-{L|R}.txt,,,L01,blocked,1,,side,,,\n" +
		"b/l01-{L|R}.txt,Model B,,L01,blocked,1,,,,,\n",
	"bare/l01-side-L.txt": "20 7\n20000 2\n",
	"bare/l01-side-R.txt": "20 7\n20000 3\n",
	"b/l01-L.txt":         "20 6\n20000 2\n",
	"b/l01-R.txt":         "20 6\n20000 3\n",
	study.ReadingsFile:    "subject,forward_mm,up_mm,model,seating,side,reader\nold,0.5,0.5,,,,R1\nL01,3,4,,,,R1\n",
})

// Rows of both studies, every file that rows and settings name, several files of a
// row and several fixtures too; what both studies hold is taken once, and what is
// still to be recorded or read comes along.
func TestStudies(t *testing.T) {
	root := t.TempDir()
	a, b, dir := one.write(t, filepath.Join(root, "one")), two.write(t, filepath.Join(root, "two")), filepath.Join(root, "both")
	s, err := Studies(dir, []string{a, b})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Seatings) != 4 || len(s.NotRecorded) != 1 || s.NotRecorded[0].Read == nil || s.Seatings[1].Seal != "glasses" {
		t.Errorf("%+v, not recorded %+v", s.Seatings, s.NotRecorded)
	}
	row := func(i, number int, side study.Side, x, y float64, model string) study.ReadingRow {
		return study.ReadingRow{Row: i, Subject: "L01", Model: model, Number: number, Side: side, ForwardMM: x, UpMM: y, Reader: "R1"}
	}
	found := row(3, 0, study.BothSides, 0.5, 0.5, "")
	found.Subject = "old"
	want := []study.ReadingRow{row(2, 1, study.LeftSide, 1, 2, "Model A"), found, row(4, 0, study.BothSides, 3, 4, "")}
	if d := cmp.Diff(want, s.Readings); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]study.ReadingRow{row(5, 1, study.RightSide, 0, 0, "Model A")}, s.NotRead); d != "" {
		t.Error(d)
	}
	got := held(t, dir)
	for name, text := range one.with(two) {
		if !slices.Contains([]string{study.SettingsFile, study.SheetFile, study.ReadingsFile}, name) && got[name] != text {
			t.Errorf("%s is %q, not %q", name, got[name], text)
		}
	}
	if d := cmp.Diff(two.with(files{study.SheetFile: sheetHead + two[study.SheetFile]}), held(t, b)); d != "" {
		t.Errorf("a study that was joined has changed:\n%s", d)
	}
	os.Remove(filepath.Join(dir, study.SettingsFile))
	if _, err := Studies(dir, []string{a, b}); err != nil {
		t.Errorf("again, after it was cut off: %v", err)
	}
}

// An entrance that studies found anew has in the merged one the findings of that study
// which has the fewest: each reading is from the mean of its own study's.
func TestStudiesFindings(t *testing.T) {
	const head = "subject,forward_mm,up_mm,model,seating\n"
	root := t.TempDir()
	a := one.with(files{study.ReadingsFile: head + "L01,1,2,Model A,1\nL01,0,1,,\nL01,1,0,,\nL01,2,0,,\n"}).write(t, filepath.Join(root, "one"))
	b := two.with(files{study.ReadingsFile: head + "L01,3,4,Model B,1\nL01,5,6,,\nL01,6,5,,\nL01,,,,\n"}).write(t, filepath.Join(root, "two"))
	s, err := Studies(filepath.Join(root, "both"), []string{a, b})
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	for _, r := range s.Readings {
		got = append(got, r.ForwardMM)
	}
	if want := []float64{1, 3, 5, 6}; !slices.Equal(got, want) || len(s.NotRead) != 1 {
		t.Errorf("readings of %v mm, want %v; not read %+v", got, want, s.NotRead)
	}
}

// What clashes is named with file and row, all of it, and nothing is written.
func TestStudiesClash(t *testing.T) {
	sheet := two[study.SheetFile]
	for _, c := range []struct {
		name   string
		change files // of the second study
		there  files // in the folder to be made
		says   []string
	}{
		{"names that differ in case", files{study.SheetFile: strings.ReplaceAll(sheet, "L01,blocked", "l01,blocked"), study.ReadingsFile: "subject,forward_mm,up_mm\nold,1,1\n"}, nil,
			[]string{`two/seatings.csv:4: subject "l01" differs from "L01" in`, `one/seatings.csv only in case or spaces; write "L01" in every row of both`}},
		{"a placement twice", files{study.SheetFile: sheet + "x.wav,Model A,,L01,blocked,1,,,,,\n"}, nil,
			[]string{"two/seatings.csv:5: the same placement is row 3 of", "one/seatings.csv; give one of the two another seating number"}},
		{"the other point of a placement", files{study.SheetFile: sheet + "x.wav,Model A,,old,drum,1,,,,,\n"}, nil,
			[]string{"two/seatings.csv:5: the same placement at the other point is row 4 of"}},
		{"one path, other bytes", files{"bare/l01-R.txt": "20 1\n20000 3.5\n"}, nil,
			[]string{"two/seatings.csv:2: the same placement is row 2 of", "bare/l01-L.txt is also the recording of row 2 of"}},
		{"one file of several rows", files{study.SheetFile: sheet + "{a|b}/l01-L.txt,Model A,,L01,blocked,2,,,,,\n"}, nil,
			[]string{"two/seatings.csv:5: a/l01-L.txt is also the recording of row 3 of"}},
		{"one recording, another story", files{study.SheetFile: strings.Replace(sheet, "front,,", "front,hair,", 1)}, nil,
			[]string{"two/seatings.csv:2: it has the recording of row 2 of", "and says something else about it"}},
		{"a reading that would be of two", files{study.SheetFile: sheet + "x.wav,Model A,2,L01,blocked,1,,,,,\n"}, nil,
			[]string{"one/readings.csv:2: its reading of seating 1 of Model A on L01 would be one of row 5 of"}},
		{"the reference of a fixture", files{"calibration/new.csv": "frequency_hz,level_db\n20,1\n20000,4\n"}, nil,
			[]string{"two/calibration/new.csv: differs from the file of the same name in"}},
		{"settings", files{study.SettingsFile: twoFixtures + "mark_mm = 1\n"}, nil,
			[]string{"two/study.toml: fixtures.new.mark_mm is 1, but 0.5 in"}},
		{"a file that is there", nil, files{"a/l01-L.txt": "somebody's"}, []string{"both/a/l01-L.txt: there is another file already; name a new folder"}},
		{"a sheet that is there", nil, files{"seatings.csv": "somebody's"}, []string{"both/seatings.csv: there is another file already; name a new folder"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			from := []string{one.write(t, filepath.Join(root, "one")), two.with(c.change).write(t, filepath.Join(root, "two"))}
			dir := filepath.Join(root, "both")
			c.there.write(t, dir)
			before := held(t, dir)
			_, err := Studies(dir, from)
			if err == nil {
				t.Fatal("no error")
			}
			for _, want := range c.says {
				if !strings.Contains(filepath.ToSlash(err.Error()), want) {
					t.Errorf("%v\nwant %q", err, want)
				}
			}
			if d := cmp.Diff(before, held(t, dir)); d != "" {
				t.Errorf("written:\n%s", d)
			}
		})
	}
}

// What a part told later studies is not named beside the part's own recordings.
func TestStudiesEarlierOfAPart(t *testing.T) {
	root := t.TempDir()
	a := one.with(files{"results/old/panel.json": "what old knows"}).write(t, filepath.Join(root, "one"))
	files{"kept.json": "what old knows", "before.json": "what came before"}.write(t, root)
	b := two.with(files{study.SettingsFile: "[panel]\nearlier = ['../one/results/old/panel.json', '../kept.json', '../before.json']\n" + twoFixtures}).
		write(t, filepath.Join(root, "two"))
	s, err := Studies(filepath.Join(root, "both"), []string{a, b})
	if err != nil || !slices.Equal(s.Earlier, []string{"../before.json"}) {
		t.Errorf("%q, %v", s.Earlier, err)
	}
}
