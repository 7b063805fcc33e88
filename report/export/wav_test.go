package export

import (
	"math"
	"path/filepath"
	"testing"

	"asworn/capture/wavfile"
)

// What is written is what is read, beyond full scale too and at odd rates.
func TestWriteImpulses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "impulse.wav")
	left, right := []float64{1, -0.5, 3.25}, []float64{0.125}
	if err := writeImpulses(path, 44100, left, right); err != nil {
		t.Fatal(err)
	}
	f, got, err := wavfile.ReadAll(path)
	if err != nil {
		t.Fatal(err)
	}
	if f.RateHz != 44100 || f.Channels != 2 || !f.Float || f.Bits != 32 {
		t.Errorf("%v", f)
	}
	for i, want := range []float64{0.125, 0, 0} {
		if got[0][i] != left[i] || got[1][i] != want {
			t.Errorf("sample %d: %v %v, want %v %v", i, got[0][i], got[1][i], left[i], want)
		}
	}
	if len(right) != 1 {
		t.Error("the caller's slice grew")
	}
	if err := writeImpulses(path, 44100.5, left); err == nil {
		t.Error("half a sample per second accepted")
	}
}

func TestWriteFilters(t *testing.T) {
	hz, db := correction()
	path := filepath.Join(t.TempDir(), "filter.wav")
	var pair [2]Filter
	for i := range pair {
		f, err := minimumPhase(hz, db, 96000, 4096)
		if err != nil {
			t.Fatal(err)
		}
		pair[i] = f
	}
	if err := writeFilters(path, pair[:]...); err != nil {
		t.Fatal(err)
	}
	_, got, err := wavfile.ReadAll(path)
	if err != nil {
		t.Fatal(err)
	}
	back := Filter{Taps: got[1], RateHz: 96000}
	for i, f := range hz {
		if math.Abs(back.LevelDB(f)-pair[1].LevelDB(f)) > 1e-4 {
			t.Errorf("%g Hz: %.4f dB from the file, wanted %.4f", f, back.LevelDB(f), db[i])
		}
	}
	other, err := linearPhase(hz, db, 96000, 4096)
	if err != nil {
		t.Fatal(err)
	}
	if err := writeFilters(path, pair[0], other); err == nil {
		t.Error("filters of different delay share a file")
	}
	other = pair[0]
	other.RateHz = 48000
	if err := writeFilters(path, pair[0], other); err == nil {
		t.Error("filters of different rate share a file")
	}
	if err := writeFilters(path); err == nil {
		t.Error("no filter written")
	}
}
