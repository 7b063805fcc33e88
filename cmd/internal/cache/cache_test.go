package cache

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestStore(t *testing.T) {
	s, err := Open(filepath.Join(t.TempDir(), "a", "b"))
	if err != nil {
		t.Fatal(err)
	}
	k, err := KeyOf("response", 1)
	if err != nil {
		t.Fatal(err)
	}
	if s.Get(k) {
		t.Error("an empty store has a value")
	}
	if err := s.Put(k, []float64{1, 2}, "second"); err != nil {
		t.Fatal(err)
	}
	var v []float64
	var w string
	if !s.Get(k, &v) || len(v) != 2 {
		t.Errorf("first value alone: %v", v)
	}
	v = nil
	if !s.Get(k, &v, &w) || w != "second" {
		t.Errorf("both values: %v %q", v, w)
	}

	// A file that was cut short counts as missing.
	if err := os.Truncate(s.path(k), 10); err != nil {
		t.Fatal(err)
	}
	if s.Get(k, &v) {
		t.Error("a broken file was read")
	}

	other, _ := KeyOf("response", 2)
	if err := s.Put(other, 1); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(func(x Key) bool { return x == other }); n != 1 || err != nil {
		t.Errorf("pruned %d, %v", n, err)
	}
	if s.Get(k) || !s.Get(other) {
		t.Error("the wrong value was pruned")
	}
}

func TestAsJSON(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	type value struct{ A [2]*int }
	one := 1
	k, _ := KeyOf("json")
	if err := s.Put(k, AsJSON(&value{[2]*int{nil, &one}}), "behind"); err != nil {
		t.Fatal(err)
	}
	var v value
	var w string
	if !s.Get(k, AsJSON(&v), &w) || v.A[0] != nil || v.A[1] == nil || *v.A[1] != 1 || w != "behind" {
		t.Errorf("%v %q", v, w)
	}
}

type part struct {
	A      string
	B      *float64 `json:"-"`
	hidden []int
}

func TestKeyTellsPartsApart(t *testing.T) {
	zero := 0.0
	seen := map[Key][]any{}
	for _, parts := range [][]any{
		{"ab", "c"}, {"a", "bc"}, {"abc"}, {"a", "b", "c"}, {1.0}, {1}, {"1"}, {true}, {uint8(1)},
		{[]float64{1, 0}}, {[]float64{1}}, {[]float64(nil)}, {[2]float64{1, 0}},
		{part{}}, {part{B: &zero}}, {part{hidden: []int{1}}}, {part{hidden: []int{1, 2}}}, {part{A: "1"}},
		{Key{1}}, {Key{2}},
	} {
		k, err := KeyOf(parts...)
		if err != nil {
			t.Fatal(err)
		}
		if other, taken := seen[k]; taken {
			t.Errorf("%v and %v share a key", parts, other)
		}
		seen[k] = parts
		if again, _ := KeyOf(parts...); again != k {
			t.Errorf("%v: the key is not stable", parts)
		}
	}
	if _, err := KeyOf(map[string]int{}); err == nil {
		t.Error("a map has no stable order, but a key")
	}
}

// A key must be the same in every process, whatever that did before: this one
// was written down from an earlier run.
func TestKeyIsTheSameInEveryProcess(t *testing.T) {
	k, err := KeyOf("response", 1.5, []int{1, 2}, part{A: "x"})
	if err != nil {
		t.Fatal(err)
	}
	const want = "6dce915a78319e4243e9f01babbf5f860f4b39075ee5263393f1f03b1cdac273"
	if k.String() != want {
		t.Errorf("key %s, want %s", k, want)
	}
}

// age sets a file's times back and makes the index forget how fresh they are.
func age(t *testing.T, s *Stamps, name string) {
	t.Helper()
	e := s.entries[name]
	e.Seen += int64(time.Hour)
	s.entries[name] = e
}

func TestStamps(t *testing.T) {
	dir := t.TempDir()
	wav, index := filepath.Join(dir, "a.wav"), filepath.Join(dir, "stamps")
	write := func(content string) {
		t.Helper()
		if err := os.WriteFile(wav, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write("one")
	s := LoadStamps(index)
	k1, changed, err := s.Key("a.wav", wav)
	if err != nil || changed || s.Read() != 1 {
		t.Fatalf("first look: changed %v, read %d, %v", changed, s.Read(), err)
	}
	// A file changed as recently as it was looked at is read again.
	if _, _, err := s.Key("a.wav", wav); err != nil || s.Read() != 2 {
		t.Errorf("fresh file: read %d times, want 2", s.Read())
	}
	age(t, s, "a.wav")
	s.dirty = true
	if err := s.Save(); err != nil {
		t.Fatal(err)
	}

	s = LoadStamps(index)
	k2, changed, err := s.Key("a.wav", wav)
	if err != nil || changed || k2 != k1 || s.Read() != 0 {
		t.Errorf("settled file: read %d, changed %v, %v", s.Read(), changed, err)
	}

	// Doubt makes it be read again.
	s.Doubt()
	if k, changed, err := s.Key("a.wav", wav); err != nil || changed || k != k1 || s.Read() != 1 {
		t.Errorf("doubted file: read %d, changed %v, %v", s.Read(), changed, err)
	}

	// Same size, and the time of modification put back: the change still shows
	// wherever the system keeps an inode change time.
	info, err := os.Stat(wav)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(20 * time.Millisecond)
	write("two")
	if err := os.Chtimes(wav, info.ModTime(), info.ModTime()); err != nil {
		t.Fatal(err)
	}
	k3, changed, err := s.Key("a.wav", wav)
	if err != nil {
		t.Fatal(err)
	}
	if stampOf(info).Changed != 0 && (!changed || k3 == k1) {
		t.Error("a change behind a set-back time was missed")
	}
	if _, _, err := s.Key("b.wav", filepath.Join(dir, "b.wav")); !os.IsNotExist(err) {
		t.Errorf("missing file: %v", err)
	}
	// A broken index is an empty one.
	if err := os.WriteFile(index, []byte("broken"), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := LoadStamps(index); len(got.entries) != 0 {
		t.Errorf("broken index: %v", got.entries)
	}
}

// TestChangedFiles changes files behind the index in each of the ways a
// recording changes, 200 files per way, and leaves as many as they are, or
// rewrites them with the content they had.
func TestChangedFiles(t *testing.T) {
	dir := t.TempDir()
	r := rand.New(rand.NewPCG(1, 9))
	put := func(path string, b []byte) error { return os.WriteFile(path, b, 0o666) }
	ways := []struct {
		name    string
		changed bool
		spoil   func(path string, b []byte) error
	}{
		{"one bit turned", true, func(path string, b []byte) error {
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return put(path, b)
		}},
		{"one bit turned, time put back", true, func(path string, b []byte) error {
			info, err := os.Stat(path)
			if err != nil {
				return err
			}
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return errors.Join(put(path, b), os.Chtimes(path, info.ModTime(), info.ModTime()))
		}},
		{"cut short", true, func(path string, b []byte) error { return os.Truncate(path, int64(r.IntN(len(b)))) }},
		{"a byte appended", true, func(path string, b []byte) error { return put(path, append(b, 0)) }},
		{"another file in its place", true, func(path string, b []byte) error {
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			return errors.Join(put(path+".new", b), os.Rename(path+".new", path))
		}},
		{"left alone", false, func(string, []byte) error { return nil }},
		{"written again as it was", false, put},
	}
	const each = 200
	content := map[string][]byte{}
	name := func(way, i int) string { return fmt.Sprintf("%d-%03d.wav", way, i) }
	s := LoadStamps(filepath.Join(dir, "stamps"))
	for w := range ways {
		for i := range each {
			b := make([]byte, 1+r.IntN(3000))
			for k := range b {
				b[k] = byte(r.Uint32())
			}
			n := name(w, i)
			content[n] = b
			if err := put(filepath.Join(dir, n), b); err != nil {
				t.Fatal(err)
			}
			if _, changed, err := s.Key(n, filepath.Join(dir, n)); err != nil || changed {
				t.Fatalf("%s: changed %v at the first look, %v", n, changed, err)
			}
			age(t, s, n)
		}
	}
	if err := s.Save(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(20 * time.Millisecond) // the resolution of the inode's time
	s = LoadStamps(filepath.Join(dir, "stamps"))
	for w, way := range ways {
		told := 0
		for i := range each {
			n := name(w, i)
			path := filepath.Join(dir, n)
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			if stampOf(info).Changed == 0 && strings.Contains(way.name, "put back") {
				t.Skip("no inode change time here")
			}
			if err := way.spoil(path, content[n]); err != nil {
				t.Fatal(err)
			}
			_, changed, err := s.Key(n, path)
			if err != nil {
				t.Fatal(err)
			}
			if changed {
				told++
			}
		}
		want := 0
		if way.changed {
			want = each
		}
		t.Logf("%s: told changed %d of %d", way.name, told, each)
		if told != want {
			t.Errorf("%s: told changed %d of %d, want %d", way.name, told, each, want)
		}
	}
}
