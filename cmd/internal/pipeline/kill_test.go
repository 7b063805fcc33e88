//go:build linux

package pipeline

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/resultdir"
)

// fileOperations are what a run does to files; reading is among them.
const fileOperations = "openat,write,fsync,renameat,renameat2,unlinkat,mkdirat,flock"

const never = 0

// runApart runs the study in dir in a process of its own, which strace kills as it
// enters file operation number n of any thread, or never. It reports whether it was killed.
func runApart(t *testing.T, dir string, n int) (killed bool) {
	t.Helper()
	if n == never {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledAtFileOperations$")
		cmd.Env = append(os.Environ(), "ASWORN_RUN_DIR="+dir, "TMPDIR="+t.TempDir())
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return false
	}
	cmd := exec.Command("strace", "-f", "-qq", "-o", os.DevNull, "-e", "trace="+fileOperations,
		"-e", fmt.Sprintf("inject=%s:signal=SIGKILL:when=%d", fileOperations, n),
		os.Args[0], "-test.run", "^TestKilledAtFileOperations$")
	cmd.Env = append(os.Environ(), "ASWORN_RUN_DIR="+dir, "TMPDIR="+t.TempDir())
	out, err := cmd.CombinedOutput()
	if err != nil && !strings.Contains(err.Error(), "killed") {
		t.Fatalf("operation %d: %v\n%s", n, err, out)
	}
	return err != nil
}

// TestKilledAtFileOperations kills a run at its file operations, one after the other
// (with ASWORN_LONG at every one). Recordings are as they were; who reads the
// results finds those of before, those of the new run, or is told to run again; and the
// next run leaves what a run leaves that was not killed, and nothing else.
func TestKilledAtFileOperations(t *testing.T) {
	if dir := os.Getenv("ASWORN_RUN_DIR"); dir != "" {
		runtime.LockOSThread() // strace counts by thread: results are written by this one
		_, _, err := Run(context.Background(), dir, Options{Jobs: 1})
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if testing.Short() {
		t.Skip("takes long")
	}
	if err := exec.Command("strace", "-qq", "-o", os.DevNull, "true").Run(); err != nil {
		t.Skipf("no strace that may trace: %v", err)
	}
	before := copyStudy(t)
	runApart(t, before, never) // by the same program as those that are killed
	old := snapshot(t, before)
	sheet := filepath.Join(before, capture.SheetFile)
	text, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	// One listener's seating less: tables change, and a cached response goes.
	var rows []string
	for line := range strings.Lines(string(text)) {
		if !strings.Contains(line, "l02_model-a_001") {
			rows = append(rows, line)
		}
	}
	if err := os.WriteFile(sheet, []byte(strings.Join(rows, "")), 0o666); err != nil {
		t.Fatal(err)
	}
	// And one recording is to be processed again.
	gobs, err := filepath.Glob(filepath.Join(before, resultdir.Dir, resultdir.CacheDir, "responses", "*.gob"))
	if err != nil || len(gobs) < 2 {
		t.Fatal(gobs, err)
	}
	if err := os.Remove(gobs[1]); err != nil {
		t.Fatal(err)
	}
	copied := func() string {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(before)); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	dir := copied()
	runApart(t, dir, never)
	want, sounds := snapshot(t, dir), sumsOf(t, filepath.Join(dir, "recordings"))
	// What was estimated is known, so that a run is short.
	estimates := filepath.Join(resultdir.Dir, resultdir.CacheDir, "estimates")
	known, err := os.ReadDir(filepath.Join(dir, estimates))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range known {
		b, err := os.ReadFile(filepath.Join(dir, estimates, e.Name()))
		if err == nil {
			err = os.WriteFile(filepath.Join(before, estimates, e.Name()), b, 0o666)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	first, step := 1, 149
	if os.Getenv("ASWORN_LONG") != "" {
		step = 1
	}
	kills, told := 0, 0
	for n := first; ; n += step {
		dir := copied()
		if !runApart(t, dir, n) {
			break
		}
		kills++
		if !maps.Equal(sumsOf(t, filepath.Join(dir, "recordings")), sounds) {
			t.Fatalf("operation %d: a recording changed", n)
		}
		got := snapshot(t, dir)
		switch _, err := resultdir.Last(dir); {
		case err == nil:
			if s := string(got[resultdir.ResultsFile]); s != string(old[resultdir.ResultsFile]) && s != string(want[resultdir.ResultsFile]) {
				t.Errorf("operation %d: results of neither run", n)
			}
		case errors.Is(err, resultdir.ErrChanged):
			told++
		default:
			t.Errorf("operation %d: %v", n, err)
		}
		if _, mixed := got[resultdir.JournalFile]; !mixed {
			list := resultdir.ReadSums(filepath.Join(dir, resultdir.Dir, resultdir.SumsFile))
			root, err := os.OpenRoot(filepath.Join(dir, resultdir.Dir))
			if err != nil {
				t.Fatal(err)
			}
			if names := list.Changed(root); len(names) > 0 || len(list.Of) == 0 {
				t.Errorf("operation %d: no journal, and %v are of another run than %s says", n, names, resultdir.SumsFile)
			}
			root.Close()
		}
		runApart(t, dir, never)
		same(t, fmt.Sprintf("operation %d", n), snapshot(t, dir), want)
		if err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
			if strings.HasSuffix(name, ".part") {
				t.Errorf("operation %d: %s was left", n, name)
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
		t.Logf("operation %d: killed, mended", n)
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
	}
	if kills == 0 {
		t.Error("nothing was killed")
	}
	t.Logf("%d kills; after %d of them the reader was told to run again", kills, told)
}

// sumsOf are the checksums of the files in a folder by name.
func sumsOf(t *testing.T, dir string) map[string][sha256.Size]byte {
	t.Helper()
	out := map[string][sha256.Size]byte{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		out[e.Name()] = sha256.Sum256(b)
	}
	return out
}
