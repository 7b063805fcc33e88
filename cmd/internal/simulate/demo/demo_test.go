package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"asworn/capture/study"
)

var small = Options{Listeners: 1, Seatings: 1, SurveySize: 1, Model: "Model A"}

// tree reads every file under dir.
func tree(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, _ := filepath.Rel(dir, p)
		out[rel], err = os.ReadFile(p)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestWrite(t *testing.T) {
	a, b := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")
	last := 0
	opt := small
	opt.Progress = func(done, total int) { last = total - done }
	truth, err := Write(t.Context(), a, opt)
	if err != nil {
		t.Fatal(err)
	}
	if last != 0 {
		t.Errorf("progress ended %d short of the total", last)
	}
	one := small
	one.Jobs = 1
	if _, err := Write(t.Context(), b, one); err != nil {
		t.Fatal(err)
	}
	fa, fb := tree(t, a), tree(t, b)
	if len(fa) != len(fb) {
		t.Fatalf("%d and %d files", len(fa), len(fb))
	}
	for name := range fa {
		if !bytes.Equal(fa[name], fb[name]) {
			t.Errorf("%s differs between runs with different workers", name)
		}
	}
	for _, s := range truth.Seatings {
		if len(fa[filepath.FromSlash(s.File)]) < 1000 {
			t.Errorf("%s is missing", s.File)
		}
	}
	var read Truth
	if err := json.Unmarshal(fa[filepath.FromSlash(TruthFile)], &read); err != nil {
		t.Fatal(err)
	}
	if len(read.Seatings) != len(truth.Seatings) || read.Seatings[3].Headset != truth.Seatings[3].Headset {
		t.Error("truth.json does not hold what Write returned")
	}
	loads(t, a, truth)
	if _, err := Write(t.Context(), a, small); err == nil {
		t.Error("a full folder was written over")
	}
}

func TestWriteStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	parent := t.TempDir()
	if _, err := Write(ctx, filepath.Join(parent, "d"), small); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	left, _ := os.ReadDir(parent)
	if len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

// loads checks that the program's own reader accepts what is written.
func loads(t *testing.T, dir string, truth Truth) {
	t.Helper()
	study, err := study.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(study.Seatings) != len(truth.Seatings) {
		t.Fatalf("%d rows read, %d written", len(study.Seatings), len(truth.Seatings))
	}
	read := map[[2]string]int{}
	for _, r := range study.Readings {
		read[[2]string{r.Subject + " " + r.Model, strconv.Itoa(r.Number)}]++
	}
	for i, s := range study.Seatings {
		if bare := s.Model == ""; (read[[2]string{s.Subject + " " + s.Model, strconv.Itoa(s.Number)}] != 4) != bare {
			t.Errorf("row %d: %s, %s, seating %d is not read four times", i, s.Subject, s.Model, s.Number)
		}
		if want := truth.Seatings[i]; s.File != want.File || s.Subject != want.Subject || (s.Survey != nil) != want.Survey {
			t.Errorf("row %d: %+v, want %+v", i, s, want)
		}
	}
}
