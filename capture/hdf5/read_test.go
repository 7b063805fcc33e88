package hdf5

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"asworn/testdata/vectors"
)

// The files of testdata/hdf5/make.py, by h5py and netCDF4-python in many
// settings, read to the last bit; an extensible array is refused with a mend.
func TestVectorsRead(t *testing.T) {
	var want []float64
	for _, row := range vectors.Rows(t, "hdf5", "x.csv") {
		v, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, v)
	}
	files, err := filepath.Glob(vectors.Path(t, "hdf5", "*"))
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, file := range files {
		ext := filepath.Ext(file)
		if ext != ".h5" && ext != ".nc" {
			continue
		}
		tried++
		t.Run(filepath.Base(file), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			f, err := Read(b)
			if err != nil {
				t.Fatal(err)
			}
			if title, err := f.Text("Title"); err != nil || title != "naïve title" {
				t.Errorf("title %q, %v", title, err)
			}
			d, err := f.Dataset("x")
			if err != nil {
				t.Fatal(err)
			}
			if unit, err := d.Text("Units"); err != nil || unit != "metre" {
				t.Errorf("units %q, %v", unit, err)
			}
			got, err := d.Values()
			if strings.HasPrefix(filepath.Base(file), "extensible") {
				if err == nil || !strings.Contains(err.Error(), "h5repack") {
					t.Errorf("an extensible array: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != len(want) || len(d.Shape) != 3 || d.Shape[2] != 25 {
				t.Fatalf("%d values of shape %v", len(got), d.Shape)
			}
			for i := range got {
				if got[i] != want[i] {
					t.Fatalf("value %d is %v, want %v", i, got[i], want[i])
				}
			}
			if strings.HasPrefix(filepath.Base(file), "many") {
				if n, m := len(f.Names()), len(f.Attributes()); n != 61 || m != 52 {
					t.Errorf("%d names, %d attributes, want 61 and 52", n, m)
				}
				if s, err := f.Text("a17"); s != "value 17" {
					t.Errorf("a17: %q, %v", s, err)
				}
				if s, err := f.Text("Long"); len(s) != 9000 {
					t.Errorf("the long text has %d characters, %v", len(s), err)
				}
				s, err := f.Dataset("s59")
				if err != nil {
					t.Fatal(err)
				}
				if v, err := s.Values(); len(v) != 2 || v[1] != 118 {
					t.Errorf("s59 is %v, %v", v, err)
				}
			}
		})
	}
	if tried < 20 {
		t.Errorf("%d files", tried)
	}
}

// A changed byte in checked data or metadata is found.
func TestReadDamaged(t *testing.T) {
	file, err := os.ReadFile(vectors.Path(t, "hdf5", "packed-latest.h5"))
	if err != nil {
		t.Fatal(err)
	}
	whole := func(b []byte) error {
		f, err := Read(b)
		if err != nil {
			return err
		}
		d, err := f.Dataset("x")
		if err != nil {
			return err
		}
		_, err = d.Values()
		return err
	}
	if err := whole(file); err != nil {
		t.Fatal(err)
	}
	for _, at := range []int{60, len(file) - 40} {
		b := append([]byte(nil), file...)
		b[at] ^= 4
		if err := whole(b); err == nil {
			t.Errorf("byte %d changed: read all the same", at)
		}
	}
	for n := range len(file) / 64 {
		if err := whole(file[:n*64]); err == nil {
			t.Errorf("cut to %d bytes: read all the same", n*64)
		}
	}
}

// Values from the hash's author (self-test of lookup3.c, hashlittle).
func TestLookup3(t *testing.T) {
	if got := lookup3(nil); got != 0xdeadbeef {
		t.Errorf("hash of nothing %08x", got)
	}
	if got := lookup3([]byte("Four score and seven years ago")); got != 0x17770551 {
		t.Errorf("hash %08x, want 17770551", got)
	}
}

// Whatever the bytes, reading ends in values or an error, and never in more
// values than the bytes can hold.
func FuzzRead(f *testing.F) {
	for _, name := range []string{"packed-earliest.h5", "contiguous-earliest.h5", "fixed-text-latest.h5", "pages-latest.h5", "unlimited-latest.h5"} {
		b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "hdf5", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := Read(b)
		if err != nil {
			return
		}
		for _, name := range file.Attributes() {
			_, _ = file.Text(name)
		}
		for i, name := range file.Names() {
			if i > 8 {
				break
			}
			d, err := file.Dataset(name)
			if err != nil {
				continue
			}
			v, err := d.Values()
			if err == nil && len(v) > deflateMost*len(b) {
				t.Errorf("%d values from %d bytes", len(v), len(b))
			}
		}
	})
}
