package pipeline

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/simulate/demo"
)

// withoutRows takes the lines that begin with a text out of a study's file and returns a function that
// puts them back.
func withoutRows(t testing.TB, dir, file, begin string) (back func()) {
	t.Helper()
	name := filepath.Join(dir, file)
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var less strings.Builder
	for line := range strings.Lines(string(whole)) {
		if !strings.HasPrefix(line, begin) {
			less.WriteString(line)
		}
	}
	if less.Len() == len(whole) {
		t.Fatalf("%s has no row that begins with %s", file, begin)
	}
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write(less.String())
	return func() { write(string(whole)) }
}

// TestOneMoreAtTheDrum: an ordinary seating more on the fixture at the drum, with what two people read of
// it, is estimated from what is there, its model's survey at that point and itself; neither the panel nor
// another model is estimated anew, and the files are those of a run from nothing, byte for byte. Of three seatings one
// may cross a step in which readers' differences and the error of a reading are carried.
func TestOneMoreAtTheDrum(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a study several times")
	}
	t.Parallel()
	dir := t.TempDir()
	if _, err := demo.Write(t.Context(), dir, demo.Options{Listeners: 3, Seatings: 2, SurveySize: 7}); err != nil {
		t.Fatal(err)
	}
	run := func() Counts {
		t.Helper()
		_, counts, err := Run(t.Context(), dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return counts
	}
	run()
	want := snapshot(t, dir)
	spared := 0
	for _, s := range []struct{ file, row string }{
		{"recordings/fixture_model-a_021_drum.wav", "fixture,Model A,21,"},
		{"recordings/fixture_model-b_025_drum.wav", "fixture,Model B,25,"},
		{"recordings/fixture_model-c_022_drum.wav", "fixture,Model C,22,"},
	} {
		sheet, readings := withoutRows(t, dir, capture.SheetFile, s.file), withoutRows(t, dir, study.ReadingsFile, s.row)
		run()
		sheet()
		readings()
		counts := run()
		same(t, s.file, snapshot(t, dir), want)
		t.Logf("%s: anew %v", s.file, counts.Anew)
		if counts.Anew["panel"] == 0 && counts.Anew["model"] == 1 {
			spared++
		}
	}
	if spared < 2 {
		t.Errorf("of three seatings %d left the panel and the other models alone", spared)
	}
}
