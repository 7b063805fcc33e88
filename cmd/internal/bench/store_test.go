package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/wavfile"
)

const killedRow = "recordings/fixture-model-a-01-blocked.wav"

func mono(v float64) [][]float64 {
	x := make([]float64, 480)
	for i := range x {
		x[i] = v
	}
	return [][]float64{x}
}

var oneChannel = wavfile.Format{RateHz: 48000, Channels: 1, Bits: 32, Float: true}

// first returns the first sample of a WAV file.
func first(t *testing.T, path string) float64 {
	t.Helper()
	_, x, err := wavfile.ReadAll(path)
	if err != nil {
		t.Fatal(err)
	}
	return x[0][0]
}

func testStore(dir string) *store { return &store{dir: dir, now: time.Now} }

// Nothing is overwritten, however often a row is recorded.
func TestRetakes(t *testing.T) {
	dir := t.TempDir()
	s := testStore(dir)
	for i := 1; i <= 4; i++ {
		if err := s.save(capture.Seating{File: killedRow}, oneChannel, mono(float64(i)/8)); err != nil {
			t.Fatal(err)
		}
	}
	if got := first(t, s.path(killedRow)); got != 0.5 {
		t.Errorf("the recording is %g, want the last", got)
	}
	for i := 1; i <= 3; i++ {
		if got := first(t, filepath.Join(dir, RetakesDir, fmt.Sprintf("fixture-model-a-01-blocked-take-%d.wav", i))); got != float64(i)/8 {
			t.Errorf("take %d is %g", i, got)
		}
	}
}

// A row that is dropped can be read again, and the sheet from before the session
// is kept.
func TestDrop(t *testing.T) {
	dir := t.TempDir()
	const sheet = "file,model,subject,point,seating,notes\na.wav,Model A,L01,blocked,1,hair\nb.wav,Model A,L01,blocked,2,\n"
	if err := os.WriteFile(filepath.Join(dir, capture.SheetFile), []byte(sheet), 0o666); err != nil {
		t.Fatal(err)
	}
	s := testStore(dir)
	if err := s.drop("a.wav"); err != nil {
		t.Fatal(err)
	}
	if err := s.edit(func(x *study.SheetText) error { return x.Note("b.wav", "glasses") }); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(dir, capture.SheetFile))
	if want := "file,model,subject,point,seating,notes\nb.wav,Model A,L01,blocked,2,glasses\n"; err != nil || string(got) != want {
		t.Errorf("%v, %q", err, got)
	}
	dropped, err := os.ReadFile(filepath.Join(dir, RetakesDir, droppedFile))
	if err != nil || !strings.Contains(string(dropped), "file=a.wav\tmodel=Model A\tsubject=L01") || !strings.Contains(string(dropped), "notes=hair") {
		t.Errorf("%v, %q", err, dropped)
	}
	backups, err := filepath.Glob(filepath.Join(dir, RetakesDir, backupDir, "*"))
	if err != nil || len(backups) != 1 {
		t.Fatalf("%v, %v", err, backups)
	}
	if b, err := os.ReadFile(backups[0]); err != nil || string(b) != sheet {
		t.Errorf("%v, %q", err, b)
	}
}

func TestAnother(t *testing.T) {
	rows := []Row{
		{Seating: capture.Seating{File: "recordings/fixture-model-b-01-blocked.wav", Model: "Model B", Subject: "fixture", Point: capture.Blocked, Number: 1}},
		{Seating: capture.Seating{File: "recordings/fixture-model-b-20-survey.wav", Model: "Model B", Subject: "fixture", Point: capture.Blocked, Number: 20, Survey: &capture.Displacement{}}},
		{Seating: capture.Seating{File: "recordings/FIXTURE-model-b-21-blocked.wav", Model: "Model A", Subject: "fixture", Point: capture.Blocked, Number: 1}},
	}
	got := (&store{}).another(rows[1].Seating, rows, nil)
	if got.Number != 22 || got.File != "recordings/fixture-model-b-22-blocked.wav" || got.Survey != nil {
		t.Errorf("%+v", got)
	}
}
