package resultdir

import (
	"bytes"
	"io/fs"
	"testing"

	"asworn/cmd/internal/cache"
)

// FuzzSums feeds any text as a list of what was written: names stay below
// results/, and what was read is written and read as the same.
func FuzzSums(f *testing.F) {
	f.Add(Sums{Key: cache.Key{1}, Of: map[string][]sum{"tables/a.csv": {{1}, {2}}, "report.html": {{3}}}}.text())
	f.Add([]byte("# asworn 00\nxyz  ../../a\n\n" + string(bytes.Repeat([]byte("0"), 64)) + "  ../a\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		w := parse(text)
		for name := range w.Of {
			if !fs.ValidPath(name) {
				t.Fatalf("%q", name)
			}
		}
		back := parse(w.text())
		if back.Key != w.Key || !bytes.Equal(back.text(), w.text()) {
			t.Fatalf("%s\n%s", w.text(), back.text())
		}
	})
}
