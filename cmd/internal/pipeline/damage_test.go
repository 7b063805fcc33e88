package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/resultdir"
)

// snapshot is everything that a run leaves for people, by name under results/.
func snapshot(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	root := filepath.Join(dir, resultdir.Dir)
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, name)
		if d.IsDir() {
			if rel == resultdir.CacheDir {
				return fs.SkipDir
			}
			return nil
		}
		if !d.Type().IsRegular() {
			return nil
		}
		b, err := os.ReadFile(name)
		out[filepath.ToSlash(rel)] = b
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func same(t *testing.T, what string, got, want map[string][]byte) {
	t.Helper()
	for name, b := range want {
		if !bytes.Equal(got[name], b) {
			t.Errorf("%s: %s has other content", what, name)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s: %s was left", what, name)
		}
	}
}

// kept are the files that a run reads back.
func kept(t *testing.T, dir string) (files []string) {
	t.Helper()
	for _, pattern := range []string{"cache/responses/*.gob", "cache/estimates/*.gob", "cache/stamps.gob", resultdir.ResultsFile, resultdir.FrozenFile, resultdir.SumsFile, "tables/*.csv"} {
		found, err := filepath.Glob(filepath.Join(dir, resultdir.Dir, pattern))
		if err != nil || len(found) == 0 {
			t.Fatalf("%s: %v, %v", pattern, found, err)
		}
		files = append(files, found[:min(len(found), 3)]...)
	}
	return files
}

// TestDamagedResultsAreMadeAnew turns bits of, cuts and exchanges the files that
// a run reads back: the next run leaves the same bytes, and says that something
// was made anew when the file was one it needs.
func TestDamagedResultsAreMadeAnew(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	dir := copyStudy(t)
	ctx := context.Background()
	if _, _, err := Run(ctx, dir, Options{}); err != nil { // by this test's own program
		t.Fatal(err)
	}
	want := snapshot(t, dir)
	r := rand.New(rand.NewPCG(17, 1))
	files := kept(t, dir)
	for round := range 3 {
		for i, file := range files {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			switch (round + i) % 3 {
			case 0: // one bit, half of the time within the first bytes
				n := len(b)
				if round%2 == 0 {
					n = min(n, 200)
				}
				b[r.IntN(n)] ^= 1 << r.IntN(8)
			case 1:
				b = b[:r.IntN(len(b))]
			case 2: // another file of the same kind, or of another one
				if b, err = os.ReadFile(files[(i+1)%len(files)]); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.WriteFile(file, b, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		_, counts, err := Run(ctx, dir, Options{})
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if counts.Damaged == 0 || counts.Processed == 0 {
			t.Errorf("round %d: %+v", round, counts)
		}
		same(t, fmt.Sprintf("round %d, after damage", round), snapshot(t, dir), want)
	}
	if _, counts, err := Run(ctx, dir, Options{}); err != nil || counts.Damaged > 0 || counts.Processed > 0 || counts.Estimated {
		t.Errorf("nothing is damaged any more: %+v, %v", counts, err)
	}
}

// TestReadBackRefusesDamage: what is not as the last run left it is not judged by.
func TestReadBackRefusesDamage(t *testing.T) {
	dir := copyStudy(t)
	for _, file := range []string{resultdir.ResultsFile, resultdir.FrozenFile} {
		name := filepath.Join(dir, resultdir.Dir, file)
		good, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		read := func() error {
			_, err := resultdir.Last(dir)
			if file == resultdir.FrozenFile {
				_, err = OpenFrozen(dir)
			}
			return err
		}
		if err := read(); err != nil {
			t.Fatal(err)
		}
		for at := 0; at < len(good); at += len(good)/25 + 1 {
			b := append([]byte(nil), good...)
			b[at] ^= 0x10
			if err := os.WriteFile(name, b, 0o666); err != nil {
				t.Fatal(err)
			}
			if err := read(); !errors.Is(err, resultdir.ErrChanged) || !strings.Contains(err.Error(), "run '") {
				t.Errorf("%s with a bit of byte %d turned: %v", file, at, err)
			}
		}
		if err := os.WriteFile(name, good, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	// A study that another program froze, listed as it lies.
	other, err := frozen{}.seal([32]byte{1})
	if err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(filepath.Join(dir, resultdir.Dir))
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	if err := resultdir.Exchange(root, [32]byte{}, []resultdir.File{{Name: resultdir.FrozenFile, Content: other}}, resultdir.ResultsFile); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenFrozen(dir); err == nil || !strings.Contains(err.Error(), "another version of the program") {
		t.Errorf("frozen by another program: %v", err)
	}
}

// TestForeignFilesStay: a user's own file in results/tables stays, changed
// tables of figures now gone stay, and a link out of results/ is not followed.
func TestForeignFilesStay(t *testing.T) {
	dir, elsewhere := copyStudy(t), t.TempDir()
	ctx := context.Background()
	results := filepath.Join(dir, resultdir.Dir)
	put := func(name, content string) {
		t.Helper()
		if err := os.WriteFile(name, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put(filepath.Join(results, "tables", "mine.csv"), "mine")
	put(filepath.Join(elsewhere, "theirs.csv"), "theirs")
	if err := os.Symlink(elsewhere, filepath.Join(results, "archive")); err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(results)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	// An earlier run wrote two tables that the next does not have.
	files := []resultdir.File{{Name: "tables/old.csv", Content: []byte("old")}, {Name: "tables/edited.csv", Content: []byte("old")}}
	if err := resultdir.Exchange(root, [32]byte{}, files); err != nil {
		t.Fatal(err)
	}
	put(filepath.Join(results, "tables", "edited.csv"), "edited by hand")
	// A part of a killed run.
	put(filepath.Join(results, "tables", ".asworn-0123456789abcdef.part"), "half")
	if _, _, err := Run(ctx, dir, Options{}); err != nil {
		t.Fatal(err)
	}
	got := snapshot(t, dir)
	for name, want := range map[string]string{"tables/mine.csv": "mine", "tables/edited.csv": "edited by hand"} {
		if string(got[name]) != want {
			t.Errorf("%s holds %q", name, got[name])
		}
	}
	for _, name := range []string{"tables/old.csv", "tables/.asworn-0123456789abcdef.part", resultdir.JournalFile} {
		if _, ok := got[name]; ok {
			t.Errorf("%s was left", name)
		}
	}
	// The folder of tables leads out.
	if err := errors.Join(os.Rename(filepath.Join(results, "tables"), filepath.Join(results, "tables-of-before")),
		os.Symlink(elsewhere, filepath.Join(results, "tables"))); err != nil {
		t.Fatal(err)
	}
	_, _, err = Run(ctx, dir, Options{})
	if err == nil || !strings.Contains(err.Error(), "tables") {
		t.Errorf("written through a link: %v", err)
	}
	if entries, _ := os.ReadDir(elsewhere); len(entries) != 1 {
		t.Errorf("%d files in the other folder", len(entries))
	}
}

// TestRunsWaitForEachOther: the lock keeps a run out until the other has ended,
// and ends with the context.
func TestRunsWaitForEachOther(t *testing.T) {
	dir := copyStudy(t)
	release, err := resultdir.Lock(context.Background(), dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	_, _, err = Run(ctx, dir, Options{Waiting: stop})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("a run beside another: %v", err)
	}
	release()
	if _, _, err := Run(context.Background(), dir, Options{Waiting: func() { t.Error("nobody else runs") }}); err != nil {
		t.Error(err)
	}
	// What is no study gets no results folder.
	empty := t.TempDir()
	if _, _, err := Run(context.Background(), empty, Options{}); err == nil {
		t.Error("an empty folder was run")
	}
	if _, err := os.Stat(filepath.Join(empty, resultdir.Dir)); err == nil {
		t.Error("results were begun in a folder without " + capture.StudyFile)
	}
}
