package pipeline

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/cmd/internal/resultdir"
	"asworn/report"
)

// TestAgain: a run in which nothing changed gives the results of the one before to the
// byte, and whatever changes of what a run reads or writes is noticed.
func TestAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("waits until files are old enough to be told by their times")
	}
	t.Parallel()
	dir := copyStudy(t)
	// A recording under two names, which every run has to tell.
	sheet := filepath.Join(dir, capture.SheetFile)
	const twin = "recordings/twin.wav"
	content, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture_model-a_023_drum.wav"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	put := func(file string, content []byte) {
		t.Helper()
		if err := resultdir.WriteFile(file, content); err != nil {
			t.Fatal(err)
		}
	}
	put(filepath.Join(dir, twin), content)
	put(sheet, append(rows, twin+",Model A,1,fixture,drum,99,,,,,,,\n"...))
	asJSON := func(r report.Results) []byte {
		t.Helper()
		var b bytes.Buffer
		if err := report.WriteJSON(&b, r); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	time.Sleep(2100 * time.Millisecond) // the coarsest clock of a file system
	first, told, err := Run(t.Context(), dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	again := func() (report.Results, Counts, bool) {
		t.Helper()
		in, err := load(dir, false)
		if err != nil {
			t.Fatal(err)
		}
		l, err := openStores(dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return l.again(t.Context(), in)
	}
	r, counts, ok := again()
	if !ok {
		t.Fatal("nothing changed, yet the run would be made again")
	}
	if !bytes.Equal(asJSON(r), asJSON(first)) {
		t.Error("other results than those of the run")
	}
	told.Processed, told.Cached, told.Read, told.Estimated, told.Anew = 0, told.Recordings, 0, false, nil
	if len(told.Twins) == 0 || !cmp.Equal(counts, told) {
		t.Errorf("counts %+v, of the run %+v", counts, told)
	}
	changed := func(name string) {
		t.Helper()
		file := filepath.Join(dir, filepath.FromSlash(name))
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		other := bytes.Clone(b)
		other[len(b)-2] ^= 1
		put(file, other)
		if _, _, ok := again(); ok {
			t.Errorf("%s changed, and nothing was noticed", name)
		}
		put(file, b)
	}
	for _, name := range []string{"results/" + resultdir.ResultsFile, "results/" + resultdir.FrozenFile, "results/" + resultdir.PageFile, "results/tables.md", "results/" + resultdir.SumsFile} {
		changed(name)
		if _, _, ok := again(); !ok {
			t.Errorf("%s is as it was, yet the run would be made again", name)
		}
	}
	put(filepath.Join(dir, "recordings", "stray.wav"), content)
	if _, counts, ok := again(); !ok || len(counts.Strays) != len(told.Strays)+1 || len(counts.Twins) != len(told.Twins)+1 {
		t.Errorf("a recording in no row was not noticed: %v, %+v", ok, counts)
	}
	put(sheet, rows)
	if _, _, ok := again(); ok {
		t.Error("the sheet changed, and nothing was noticed")
	}
	put(sheet, append(rows, twin+",Model A,1,fixture,drum,99,,,,,,,\n"...))
	for _, name := range []string{"calibration/mic-left.csv", "recordings/l01_model-a_001_blocked.wav"} {
		changed(name)
		time.Sleep(2100 * time.Millisecond)
		if _, _, err := Run(t.Context(), dir, Options{}); err != nil { // looks at the file and takes down its times
			t.Fatal(err)
		}
		if _, _, ok := again(); !ok {
			t.Errorf("%s is as it was, yet the run would be made again", name)
		}
	}
}

// TestOneMore: what a run leaves for people does not depend on what was run before, to
// the byte: a study less one recording, then the whole.
func TestOneMore(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	dir := copyStudy(t)
	if _, _, err := Run(t.Context(), dir, Options{}); err != nil {
		t.Fatal(err)
	}
	want := snapshot(t, dir)
	for _, name := range []string{"fixture_model-a_023_drum.wav", "l01_model-a_001_blocked.wav", "l02_bare-ear_001_blocked.wav"} {
		file := filepath.Join(dir, "recordings", name)
		if err := os.Rename(file, file+".away"); err != nil {
			t.Fatal(err)
		}
		if _, _, err := Run(t.Context(), dir, Options{Partial: true}); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(file+".away", file); err != nil {
			t.Fatal(err)
		}
		_, counts, err := Run(t.Context(), dir, Options{})
		if err != nil || counts.Processed != 1 || !counts.Estimated {
			t.Errorf("%s: %+v, %v", name, counts, err)
		}
		same(t, name, snapshot(t, dir), want)
	}
}
