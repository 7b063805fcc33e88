package disk

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "a")
	for _, content := range []string{"one", "", "three"} {
		if err := WriteFile(name, []byte(content)); err != nil {
			t.Fatal(err)
		}
		if b, err := ReadFile(name, 5); err != nil || string(b) != content {
			t.Errorf("%q, %v", b, err)
		}
	}
	if _, err := ReadFile(name, 4); !errors.Is(err, ErrTooLarge) {
		t.Errorf("5 bytes under a bound of 4: %v", err)
	}
	// What a link names is left alone.
	kept, link := filepath.Join(dir, "kept"), filepath.Join(dir, "link")
	if err := errors.Join(os.WriteFile(kept, []byte("kept"), 0o666), os.Symlink(kept, link)); err != nil {
		t.Fatal(err)
	}
	if err := WriteFile(link, []byte("new")); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(kept); string(b) != "kept" {
		t.Errorf("the file behind a link now holds %q", b)
	}
	if b, _ := os.ReadFile(link); string(b) != "new" {
		t.Errorf("written %q", b)
	}
	if err := WriteFile(dir, nil); err == nil {
		t.Error("a folder was written over")
	}
	if n, err := Collect(dir); n != 0 || err != nil {
		t.Errorf("%d parts left, %v", n, err)
	}
}

func TestOnlyRegularFiles(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{dir, os.DevNull} {
		if _, err := Open(name); !errors.Is(err, ErrNotRegular) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Open(filepath.Join(dir, "no")); !os.IsNotExist(err) {
		t.Errorf("missing file: %v", err)
	}
}

// TestWriteInStaysInside: a folder that leads elsewhere is not written through.
func TestWriteInStaysInside(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	if err := WriteIn(root, filepath.Join("a", "b", "c"), []byte("x")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(other, filepath.Join(dir, "out")); err != nil {
		t.Fatal(err)
	}
	if err := WriteIn(root, filepath.Join("out", "c"), []byte("x")); err == nil {
		t.Error("written through a link")
	}
	if entries, _ := os.ReadDir(other); len(entries) != 0 {
		t.Errorf("%d files in the other folder", len(entries))
	}
}

// TestCollect: only parts of this program's own naming go.
func TestCollect(t *testing.T) {
	dir := t.TempDir()
	p, err := Create(filepath.Join(dir, "a"))
	if err != nil {
		t.Fatal(err)
	}
	p.Close() // as a killed program leaves it
	for _, name := range []string{".asworn-notes", "x.part", ".hidden"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := Collect(dir); n != 1 || err != nil {
		t.Errorf("%d collected, %v", n, err)
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 3 {
		t.Errorf("%d files left, want 3", len(entries))
	}
	if n, err := Collect(filepath.Join(dir, "none")); n != 0 || err != nil {
		t.Errorf("missing folder: %d, %v", n, err)
	}
	q, err := Create(filepath.Join(dir, "b"))
	if err != nil {
		t.Fatal(err)
	}
	if err := q.Abort(); err != nil {
		t.Error(err)
	}
	if n, err := Collect(dir); n != 0 || err != nil {
		t.Errorf("after Abort: %d, %v", n, err)
	}
}
