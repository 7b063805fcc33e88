package cache

import (
	"os"
	"path/filepath"
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
	if s.Has(k) {
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
	if s.Has(k) || !s.Has(other) {
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
