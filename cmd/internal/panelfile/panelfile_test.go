package panelfile

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/cmd/internal/cache"
	"asworn/fitcorr/earlier"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

func panel(title string) earlier.Panel {
	curve := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	for b := range curve.LevelDB {
		curve.LevelDB[b], curve.Valid[b] = float64(b)/10+float64(len(title)), true
	}
	ss := []seat.Seating{{ID: "a", Subject: "L01", Point: capture.Blocked, Ears: [2]seat.Curve{curve, curve}}}
	rows := []study.ReadingRow{{Subject: "L01", ForwardMM: 1.5}}
	return earlier.Of(title, earlier.Fixture{Name: "fixture 1"}, ss, rows, reading.Result{}, nil)
}

// write puts a panel file where a study of that title has it, changed as asked.
func write(t *testing.T, root, title string, change func([]byte) []byte) {
	t.Helper()
	raw, err := encode(panel(title))
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		raw = change(raw)
	}
	dir := filepath.Join(root, title, "results")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "panel.json"), raw, 0o666); err != nil {
		t.Fatal(err)
	}
}

func replace(from, to string) func([]byte) []byte {
	return func(raw []byte) []byte { return bytes.Replace(raw, []byte(from), []byte(to), 1) }
}

func TestLoad(t *testing.T) {
	root := t.TempDir()
	here := filepath.Join(root, "now")
	write(t, root, "spring", nil)
	write(t, root, "summer", nil)
	write(t, root, "tampered", replace(`"forward_mm":1.5`, `"forward_mm":1.6`))
	write(t, root, "renamed", replace(`"subject":"L01","side"`, `"subject":"L02","side"`))
	write(t, root, "renamed", replace(`"listeners":["L01"]`, `"listeners":["L02"]`))
	write(t, root, "version", replace(format, "asworn-panel-9"))
	write(t, root, "unknown", replace(`"study"`, `"more":1,"study"`))
	write(t, root, "half", func(raw []byte) []byte { return raw[:len(raw)/2] })
	write(t, root, "twice", func(raw []byte) []byte { return append(raw, raw...) })
	write(t, root, "now", nil)
	write(t, root, "blanks", func(raw []byte) []byte { return bytes.ReplaceAll(raw, []byte(`,"`), []byte(", \n \"")) })
	const at = "../%/results/panel.json"
	for _, c := range []struct {
		names []string
		says  string // empty: taken
	}{
		{[]string{"spring"}, ""},
		{[]string{"spring", "summer"}, "the bare-ear recording of L01 is in study \"spring\" too"}, // titles of one length have the same curves here
		{[]string{"spring", "blanks"}, "the bare-ear recording"},
		{[]string{"blanks"}, ""},
		{[]string{"spring", "spring"}, "it is the same as that of study \"spring\""},
		{[]string{"tampered"}, "changed after it was written: its checksum does not fit; run that study again"},
		{[]string{"renamed"}, "its checksum does not fit"},
		{[]string{"version"}, `its format is "asworn-panel-9", not "asworn-panel-2"`},
		{[]string{"unknown"}, "not as it was written"},
		{[]string{"half"}, "not a panel file"},
		{[]string{"twice"}, "not a panel file"},
		{[]string{"now"}, "a study does not come before itself"},
		{[]string{"none"}, "there is no such file; run that study, which writes it, or correct the path in [panel] earlier"},
	} {
		st := study.Default()
		st.Dir = here
		st.Fixture.Name = "fixture 1"
		st.Seatings = []capture.Seating{{Subject: "L01"}}
		for _, n := range c.names {
			st.Earlier = append(st.Earlier, strings.Replace(at, "%", n, 1))
		}
		got, err := Load(&st, here)
		switch {
		case c.says == "" && (err != nil || len(got.Panels) != 1):
			t.Errorf("%v: %v", c.names, err)
		case c.says == "" && c.names[0] == "spring":
			if d := cmp.Diff(panel("spring"), got.Panels[0]); d != "" {
				t.Error(d)
			}
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%v: %v, want %q", c.names, err, c.says)
		case c.says != "" && !strings.Contains(err.Error(), filepath.Join(root, c.names[len(c.names)-1], "results", "panel.json")):
			t.Errorf("%v: the file is not named: %v", c.names, err)
		}
	}
	// Everything that is wrong is told at once.
	st := study.Default()
	st.Dir, st.Fixture.Name, st.Seatings = here, "fixture 2", []capture.Seating{{Subject: "L01"}}
	st.Earlier = []string{"../spring/results/panel.json", "../tampered/results/panel.json"}
	_, err := Load(&st, here)
	var all textfile.Errors
	if !errors.As(err, &all) || len(all) != 2 {
		t.Errorf("%v", err)
	}
	st.Earlier = nil
	if got, err := Load(&st, here); err != nil || got.Panels != nil {
		t.Errorf("without earlier studies: %+v, %v", got, err)
	}
}

// A study that is made of recordings of this one is not one before it.
func TestApart(t *testing.T) {
	row := study.Seating{File: "curves/l01-{L|R}.txt"}
	own := Recordings(row, []cache.Key{{1}, {2}})
	p := panel("spring")
	p.Recordings = []earlier.Recording{{File: "other.wav", SHA256: cache.Key{3}.String()}, {File: "copy.txt", SHA256: own[1].SHA256}}
	e := Earlier{Panels: []earlier.Panel{panel("summer"), p}, files: []string{"summer.json", "spring.json"}}
	err := e.Apart(own)
	if err == nil || !strings.Contains(err.Error(), "spring.json: the recording curves/l01-R.txt of this study is in it too") || strings.Contains(err.Error(), "summer") {
		t.Error(err)
	}
	if err := e.Apart(own[:1]); err != nil {
		t.Error(err)
	}
}

// Earlier studies of those that are looked at come once, and not beside themselves; those
// that share a recording are told.
func TestTogether(t *testing.T) {
	root := t.TempDir()
	write(t, root, "spring", nil)
	var dirs []string
	for _, name := range []string{"one", "two"} {
		dir := filepath.Join(root, name)
		dirs = append(dirs, dir)
		if err := os.MkdirAll(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		for file, text := range map[string]string{
			study.SettingsFile: "[fixture]\nname = \"fixture 1\"\n[panel]\nearlier = [\"../spring/results/panel.json\"]\n",
			study.SheetFile:    "file,model,subject,point,seating\na.wav,Model A,L01,blocked,1\n",
		} {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	joint := func(addresses ...string) Joint {
		t.Helper()
		out, err := Together(addresses)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	got := joint(dirs...)
	if len(got.Before) != 1 || got.Before[0].Study != "spring" {
		t.Errorf("%+v", got.Before)
	}
	if p := got.People; len(p) != 3 || p[0] != p[1] || p[1] != p[2] {
		t.Errorf("one study before both: panels %v", p)
	}
	if len(got.Shared) != 2 || !strings.HasPrefix(got.Shared[0], "Whether "+dirs[0]+" shares recordings with the others is not known (") {
		t.Errorf("without panel files: %q", got.Shared)
	}
	spring, autumn := filepath.Join(root, "spring"), filepath.Join(root, "autumn")
	if got = joint(append(dirs, spring)...); len(got.Before) != 0 || len(got.People) != 3 || got.People[0] != got.People[2] {
		t.Errorf("beside itself: %d, panels %v", len(got.Before), got.People)
	}
	if got = joint(filepath.Join(root, "nowhere")); len(got.Before) != 0 || got.Shared != nil {
		t.Errorf("no study.toml: %+v", got)
	}
	write(t, root, "autumn", nil) // the title is as long, so that the curves are the same
	got = joint(spring, autumn)
	if want := spring + " and " + autumn + " both hold the bare-ear recording of L01"; len(got.Shared) != 1 || !strings.HasPrefix(got.Shared[0], want) {
		t.Errorf("%q, want %q", got.Shared, want)
	}
	if got.People[0] == got.People[1] {
		t.Error("neither names the other, and yet they are one panel")
	}
}
