package hdf5

import (
	"bytes"
	"os"
	"strings"
	"testing"
)

// What is written reads back, to the last bit and twice the same.
func TestWrite(t *testing.T) {
	var b, again bytes.Buffer
	for _, w := range []*bytes.Buffer{&b, &again} {
		if err := Write(w, []Dimension{{"M", 2}, {"N", 3}}, [][2]string{{"Title", "naïve"}, {"Empty", ""}},
			[]Variable{{"Data.IR", []string{"M", "N"}, [][2]string{{"Units", "metre"}}, []float64{1, -2, 3.5, 0, 1e-300, 6}}}); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Error("two files of the same input differ")
	}
	if dir := os.Getenv("HDF5_OUT"); dir != "" {
		_ = os.WriteFile(dir, b.Bytes(), 0o666)
	}
	f, err := Read(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if s, err := f.Text("Title"); s != "naïve" || err != nil {
		t.Errorf("title %q, %v", s, err)
	}
	d, err := f.Dataset("Data.IR")
	if err != nil {
		t.Fatal(err)
	}
	v, err := d.Values()
	if err != nil || len(v) != 6 || v[4] != 1e-300 || d.Shape[1] != 3 {
		t.Errorf("%v of %v, %v", v, d.Shape, err)
	}
	// Long texts stand in a heap, together with the short ones beside them.
	texts := [][2]string{{"Title", "t"}, {"Comment", strings.Repeat("x", 20000)}, {"Other", "naïve"}, {"Empty", ""}}
	var long bytes.Buffer
	if err := Write(&long, []Dimension{{"M", 2}}, texts, nil); err != nil {
		t.Fatal(err)
	}
	if f, err = Read(long.Bytes()); err != nil {
		t.Fatal(err)
	}
	for _, a := range texts {
		if s, err := f.Text(a[0]); strings.TrimRight(s, "\x00") != a[1] || err != nil {
			t.Errorf("%s: %d bytes, %v", a[0], len(s), err)
		}
	}
	if err := Write(&long, []Dimension{{"M", 2}}, [][2]string{{"a", strings.Repeat("x", 40000)}, {"b", strings.Repeat("x", 40000)}}, nil); err == nil {
		t.Error("texts of 80000 bytes are written")
	}
	for name, v := range map[string]Variable{
		"no dimension": {Name: "x", Dimensions: []string{"Q"}, Values: []float64{1}},
		"short":        {Name: "x", Dimensions: []string{"M"}, Values: []float64{1}},
		"no name":      {Dimensions: []string{"M"}, Values: []float64{1, 2}},
	} {
		if err := Write(&again, []Dimension{{"M", 2}}, nil, []Variable{v}); err == nil {
			t.Errorf("%s: written", name)
		}
	}
}
