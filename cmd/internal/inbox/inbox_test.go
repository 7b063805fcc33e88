package inbox

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"asworn/capture/wavfile"
)

// TestWhole: what lies there at the first look is whole; later a file is given once two
// looks agree, in the order in which files were finished, until nothing is left to do
// with it; one whose header promises more waits; what is no WAV file is told of once.
func TestWhole(t *testing.T) {
	dir, now := t.TempDir(), time.Unix(1_000_000, 0)
	f := Open(dir, func() time.Time { return now })
	write := func(name string, at time.Time, keep int) {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := wavfile.Write(path, wavfile.Format{RateHz: 8000, Channels: 1, Bits: 16}, [][]float64{make([]float64, 100)}); err != nil {
			t.Fatal(err)
		}
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(path, info.Size()-int64(keep)); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
	var said []string
	look := func(first bool, want ...string) {
		t.Helper()
		said = nil
		if got := slices.Collect(f.Whole(first, func(words string) { said = append(said, words) })); !slices.Equal(got, want) {
			t.Errorf("%q, want %q; said %q", got, want, said)
		}
	}
	write("b.wav", now, 0)
	write("a.wav", now.Add(time.Second), 0)
	if err := os.WriteFile(filepath.Join(dir, "c.mp3"), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	look(true, "b.wav", "a.wav")
	if len(said) != 1 || !strings.HasPrefix(said[0], "c.mp3 is no WAV file") {
		t.Errorf("said %q", said)
	}
	f.Done("b.wav")
	write("d.wav", now, 50)
	look(false, "a.wav")
	f.Done("a.wav")
	look(false)
	if len(said) != 1 || said[0] != "d.wav is still being written" {
		t.Errorf("said %q", said)
	}
	now = now.Add(unfinishedFor)
	look(false, "d.wav")
	f.Done("d.wav")
	write("b.wav", now, 0) // which went on
	look(false)
	look(false, "b.wav")
}
