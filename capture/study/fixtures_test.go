package study

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture/wavfile"
)

const twoFixtures = `title = "T"
[fixtures.old]
name = "Fixture 1"
coupler = "IEC 60318-4"
slope_db_per_octave = -1
[fixtures.new]
coupler = "IEC 60318-4"
mark_mm = 0.3
`

func twoFixtureStudy(t *testing.T, settings, sheet, readings string, wavs ...string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{SettingsFile: settings, SheetFile: sheet, ReadingsFile: readings} {
		if text == "" {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, w := range wavs {
		if err := wavfile.Write(filepath.Join(dir, w), wavfile.Format{RateHz: 48000, Channels: 2, Bits: 24}, [][]float64{make([]float64, 100), make([]float64, 100)}); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// TestFixtures: each fixture sees the panel's rows and its own, under the name of
// the only fixture; settings, rows and readings alike.
func TestFixtures(t *testing.T) {
	dir := twoFixtureStudy(t, twoFixtures, "file,model,subject,point,seating\na.wav,A,L01,blocked,1\nb.wav,A,old,blocked,1\nc.wav,A,NEW,drum,1\n",
		"subject,model,seating,forward_mm,up_mm\nL01,A,1,1,2\nold,A,1,3,4\nnew,A,1,5,6\nold,,,0,0\n", "a.wav", "b.wav", "c.wav")
	for _, c := range []struct {
		fixture string
		want    Fixture
		files   []string
		read    []float64 // forward_mm
	}{
		{"old", Fixture{"old", "Fixture 1", "IEC 60318-4", "", -1, DefaultMarkMM}, []string{"a.wav", "b.wav"}, []float64{1, 3, 0}},
		{"New", Fixture{"new", "new", "IEC 60318-4", "", 0, 0.3}, []string{"a.wav", "c.wav"}, []float64{1, 5}},
	} {
		s, err := Load(At(dir, c.fixture))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c.want, s.Fixture); diff != "" {
			t.Error(diff)
		}
		var files []string
		for _, r := range s.Seatings {
			files = append(files, r.File)
			if r.OnFixture() != (r.File != "a.wav") {
				t.Errorf("%s: subject %s", r.File, r.Subject)
			}
		}
		var read []float64
		for _, r := range s.Readings {
			read = append(read, r.ForwardMM)
			if (r.Subject == FixtureSubject) == (r.Subject == "L01") {
				t.Errorf("reading of %s", r.Subject)
			}
		}
		if !cmp.Equal(files, c.files) || !cmp.Equal(read, c.read) || s.Dir != dir {
			t.Errorf("%s: %v, %v, %s", c.fixture, files, read, s.Dir)
		}
	}
	if _, err := Load(At(dir, "third")); err == nil || !strings.Contains(err.Error(), "it declares new, old") {
		t.Errorf("a third fixture: %v", err)
	}
	whole, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteSettings(&b, *whole); err != nil {
		t.Fatal(err)
	}
	back, problems := parseStudy("f", b.Bytes())
	if len(problems) > 0 || !cmp.Equal(back.Fixtures, whole.Fixtures) {
		t.Errorf("written and read: %v, %+v\n%s", problems, back.Fixtures, b.String())
	}
}

// TestFixtureErrors: what is wrong with several fixtures is said at its line.
func TestFixtureErrors(t *testing.T) {
	for _, c := range []struct{ settings, subject, want string }{
		{twoFixtures, "fixture", "seatings.csv:2: subject is fixture, and the study has several"},
		{twoFixtures, "older", "point is drum for the listener older"},
		{"[fixtures.one]\nname = \"x\"\n", "one", "one fixture is declared"},
		{twoFixtures + "[fixture]\nname = \"x\"\n", "old", "there are [fixture] and [fixtures]"},
		{twoFixtures + "colour = 1\n", "old", "unknown key colour in [fixtures.new]"},
		{"[fixtures.\"a b\"]\n[fixtures.c]\n", "c", "is no name for the subject column"},
		{"[fixtures.old]\nreference = \"r.csv\"\n[fixtures.new]\nreference = \"r.csv\"\n", "old", "r.csv is the reference of fixture new too: a reference belongs to one"},
		{"[fixtures.old]\nreference = \"copy.csv\"\n[fixtures.new]\nreference = \"r.csv\"\n", "old", "copy.csv is the reference of fixture new too: a reference belongs to one"},
		{"[fixtures.old]\nreference = \"r.csv\"\n[fixtures.new]\nreference = \"new.csv\"\nname = \"second\"\n", "old", "new.csv belongs to \"new\", and this study was made on \"second\""},
		{"[fixtures.old]\nreference = \"r.csv\"\n[fixtures.new]\nreference = \"new.csv\"\n", "old", ""},
	} {
		dir := twoFixtureStudy(t, c.settings, "file,model,subject,point,seating\na.wav,A,"+c.subject+",drum,1\n", "", "a.wav")
		for file, text := range map[string]string{
			"r.csv":    "frequency_hz,level_db\n20,0\n20000,0\n",
			"copy.csv": "# of the old one\nfrequency_hz;level_db\n20;0,0\n20000;0\n",
			"new.csv":  "# fixture: new\nfrequency_hz,level_db\n20,0\n20000,1\n",
		} {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := Load(dir); err == nil != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.settings, err, c.want)
		}
	}
}

// TestSplit: an address is a folder, or a folder and a fixture.
func TestSplit(t *testing.T) {
	odd := filepath.Join(t.TempDir(), "a@b")
	if err := os.Mkdir(odd, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][3]string{
		{"study", "study", ""}, {"study@old", "study", "old"}, {odd, odd, ""}, {odd + "@old", odd, "old"},
		{"@old", "@old", ""}, {"study@", "study@", ""}, {"study@a/b", "study@a/b", ""},
	} {
		if dir, fixture := Split(c[0]); dir != c[1] || fixture != c[2] {
			t.Errorf("%s: %q, %q", c[0], dir, fixture)
		}
	}
}
