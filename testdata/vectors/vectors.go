// Package vectors finds reference vectors for tests: in the folder that
// ASWORN_TESTDATA names, where continuous integration regenerates them, else
// in the repository's testdata.
package vectors

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Open opens the vector file name of the set, for instance
// Open(t, "lme4", "data.csv"). It is closed when the test ends. A file that is
// missing fails the test.
func Open(t testing.TB, set, name string) *os.File {
	t.Helper()
	f, err := os.Open(Path(t, set, name))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// Path returns where the vector file name of the set is.
func Path(t testing.TB, set, name string) string {
	t.Helper()
	if dir := os.Getenv("ASWORN_TESTDATA"); dir != "" {
		return filepath.Join(dir, set, name)
	}
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "testdata", set, name)
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test's folder")
		}
		dir = up
	}
}

// Rows returns the rows below the head of the CSV vector file name of the set;
// lines that begin with # are comments.
func Rows(t testing.TB, set, name string) [][]string {
	t.Helper()
	r := csv.NewReader(Open(t, set, name))
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		t.Fatalf("%s/%s is empty", set, name)
	}
	return all[1:]
}

// Numbers returns Rows as numbers; text becomes NaN.
func Numbers(t testing.TB, set, name string) [][]float64 {
	t.Helper()
	var out [][]float64
	for _, row := range Rows(t, set, name) {
		v := make([]float64, len(row))
		for i, s := range row {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				x = math.NaN()
			}
			v[i] = x
		}
		out = append(out, v)
	}
	if len(out) == 0 {
		t.Fatalf("%s/%s has no rows", set, name)
	}
	return out
}
