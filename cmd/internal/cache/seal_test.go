package cache

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
)

type sample struct {
	Levels [2][]float64
	Name   string
}

func sealedFile(t testing.TB, dir string, k Key, name string) (string, []byte) {
	t.Helper()
	b, err := Seal(k, sample{[2][]float64{{1, 2, 3}, {4, 5, 6}}, name}, []float32{1, 2, 3, 4})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, name)
	if err := os.WriteFile(file, b, 0o666); err != nil {
		t.Fatal(err)
	}
	return file, b
}

// TestSealedFilesTellEveryDamage turns every bit, cuts at every length and
// exchanges files: not one may be believed.
func TestSealedFilesTellEveryDamage(t *testing.T) {
	dir := t.TempDir()
	k1, _ := KeyOf("one")
	k2, _ := KeyOf("two")
	file, good := sealedFile(t, dir, k1, "first")
	var v sample
	var w []float32
	if err := ReadSealed(file, k1, &v, &w); err != nil || v.Name != "first" || len(w) != 4 {
		t.Fatalf("%v %v %v", err, v, w)
	}
	believed := func(b []byte) bool {
		var v sample
		var w []float32
		err := readSealed(bytes.NewReader(b), int64(len(b)), k1, &v, &w)
		if err != nil && !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrOther) {
			t.Fatalf("neither damaged nor other: %v", err)
		}
		return err == nil
	}
	for bit := range 8 * len(good) {
		b := append([]byte(nil), good...)
		b[bit/8] ^= 1 << (bit % 8)
		if believed(b) {
			t.Errorf("believed with bit %d of byte %d turned", bit%8, bit/8)
		}
	}
	for n := range good {
		if believed(good[:n]) {
			t.Errorf("believed when cut to %d bytes", n)
		}
	}
	second, other := sealedFile(t, dir, k2, "second")
	if believed(other) {
		t.Error("the file of another key was believed")
	}
	if err := ReadSealed(second, k1, &v); !errors.Is(err, ErrOther) {
		t.Errorf("another key: %v", err)
	}
	// The two values of one file exchanged.
	b, err := Seal(k1, []float32{1, 2, 3, 4}, sample{})
	if err != nil {
		t.Fatal(err)
	}
	if believed(b) {
		t.Error("values in another order were believed")
	}
	if err := ReadSealed(dir, k1, &v); err == nil {
		t.Error("a folder was read")
	}
}

// TestSealedSizeIsBounded: a length in a damaged head asks for no memory.
func TestSealedSizeIsBounded(t *testing.T) {
	k, _ := KeyOf("size")
	_, b := sealedFile(t, t.TempDir(), k, "big")
	for i := range 7 {
		b[headSize+i] = 0x7f
	}
	b[headSize+7] = 0
	var v sample
	if err := readSealed(bytes.NewReader(b), int64(len(b)), k, &v); !errors.Is(err, ErrDamaged) {
		t.Errorf("%v", err)
	}
	// A length within the file that reaches beyond what can be read from it.
	if err := readSealed(bytes.NewReader(b[:headSize+8]), math.MaxInt64, k, &v); !errors.Is(err, ErrDamaged) {
		t.Errorf("%v", err)
	}
}

// FuzzSealed: whatever the bytes, only what was sealed is believed.
func FuzzSealed(f *testing.F) {
	k, _ := KeyOf("fuzz")
	good, err := Seal(k, sample{Name: "good"})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:60])
	f.Add([]byte(magic))
	f.Fuzz(func(t *testing.T, b []byte) {
		var v sample
		if readSealed(bytes.NewReader(b), int64(len(b)), k, &v) == nil && v.Name != "good" {
			t.Errorf("believed: %+v", v)
		}
	})
}
