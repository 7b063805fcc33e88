//go:build unix

package bench

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/wavfile"
)

// A program that kills itself, as kill -9 does, after each step of keeping a
// take: the take and the one before it are whole afterwards.
func TestKilledWhileKeeping(t *testing.T) {
	if dir := os.Getenv("ASWORN_KILL_DIR"); dir != "" {
		s := testStore(dir)
		s.crash = func(step string) {
			if step == os.Getenv("ASWORN_KILL_AT") {
				_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
				time.Sleep(time.Minute)
			}
		}
		if err := s.save(capture.Seating{File: killedRow}, oneChannel, mono(0.2)); err != nil {
			fmt.Println(err)
		}
		os.Exit(0)
	}
	for _, before := range []bool{false, true} {
		for _, step := range []string{"written", "retired", "placed"} {
			t.Run(fmt.Sprintf("%s, before %t", step, before), func(t *testing.T) {
				dir := t.TempDir()
				if before {
					if err := testStore(dir).save(capture.Seating{File: killedRow}, oneChannel, mono(0.1)); err != nil {
						t.Fatal(err)
					}
				}
				cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledWhileKeeping$")
				cmd.Env = append(os.Environ(), "ASWORN_KILL_DIR="+dir, "ASWORN_KILL_AT="+step)
				out, err := cmd.CombinedOutput()
				var exit *exec.ExitError
				if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
					t.Fatalf("was not killed: %v, %s", err, out)
				}
				s := testStore(dir)
				if _, err := s.recover(); err != nil {
					t.Fatal(err)
				}
				if got := first(t, s.path(killedRow)); got != float64(float32(0.2)) {
					t.Errorf("the recording is the take of %g", got)
				}
				if before {
					if got := first(t, filepath.Join(dir, RetakesDir, "fixture-model-a-01-blocked-take-1.wav")); got != float64(float32(0.1)) {
						t.Errorf("the take before is that of %g", got)
					}
				}
				if again, err := s.recover(); err != nil || len(again) != 0 {
					t.Errorf("a second time it finds %v, %v", again, err)
				}
			})
		}
	}
}

// The same while a file of another recorder is copied: the recording is whole, the
// original is as it was, and it is known which row it became, so that it is not
// offered again.
func TestKilledWhileCopying(t *testing.T) {
	if dir := os.Getenv("ASWORN_KILL_DIR"); dir != "" {
		in := testIntake(dir)
		in.desk.store.crash = func(step string) {
			if step == os.Getenv("ASWORN_KILL_AT") {
				_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
				time.Sleep(time.Minute)
			}
		}
		if _, err := in.desk.store.copy(os.Getenv("ASWORN_KILL_FROM"), killedRow, func(hash string) error { return in.list("REC001.WAV", hash, killedRow) }); err != nil {
			fmt.Println(err)
		}
		os.Exit(0)
	}
	for _, step := range []string{"written", "listed", "retired", "placed"} {
		t.Run(step, func(t *testing.T) {
			dir, from := t.TempDir(), filepath.Join(t.TempDir(), "REC001.WAV")
			if err := wavfile.Write(from, oneChannel, mono(0.2)); err != nil {
				t.Fatal(err)
			}
			if err := testStore(dir).save(capture.Seating{File: killedRow}, oneChannel, mono(0.1)); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledWhileCopying$")
			cmd.Env = append(os.Environ(), "ASWORN_KILL_DIR="+dir, "ASWORN_KILL_AT="+step, "ASWORN_KILL_FROM="+from)
			out, err := cmd.CombinedOutput()
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
				t.Fatalf("was not killed: %v, %s", err, out)
			}
			in := testIntake(dir)
			if in.desk.recovered, err = in.desk.store.recover(); err != nil {
				t.Fatal(err)
			}
			if err := in.load(); err != nil {
				t.Fatal(err)
			}
			hash, err := hashOf(from)
			if err != nil {
				t.Fatal(err)
			}
			if kept, err := hashOf(in.desk.store.path(killedRow)); err != nil || kept != hash {
				t.Errorf("the recording is not the file: %v", err)
			}
			if in.done[hash] != killedRow {
				t.Errorf("the file counts as %q, want %s", in.done[hash], killedRow)
			}
			if got := first(t, filepath.Join(dir, RetakesDir, "fixture-model-a-01-blocked-take-1.wav")); got != float64(float32(0.1)) {
				t.Errorf("the take before is that of %g", got)
			}
		})
	}
}

func testIntake(dir string) *intake {
	return &intake{desk: &Desk{store: *testStore(dir), opt: Options{Now: time.Now}}, done: map[string]string{}}
}
