package wavfile

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// FuzzReader feeds any bytes to the reader: no panic, no memory beyond what the
// bytes hold, samples that are finite, and every refusal in full.
func FuzzReader(f *testing.F) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "wav", "*.*"))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add(file(RF64, chunk{id: "ds64", body: "........" + "\x00\x00\x00\x00\x00\x01\x00\x00" + "............"}, stereo, four))
	f.Add(whole(Format{RateHz: 48000, Channels: 2, Bits: 32, Float: true}, [][]float64{{0.5, MaxSample}, {-1, 0}}))
	f.Fuzz(func(t *testing.T, b []byte) { check(t, b) })
}

// open opens a file of any bytes and holds that this takes little memory.
func open(t *testing.T, b []byte) (*Reader, error) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x")
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 4<<20 {
		t.Fatalf("%d bytes allocated for a file of %d", used, len(b))
	}
	if err != nil {
		return nil, refusal(t, err)
	}
	return r, nil
}

// refusal returns the kind of an error that must tell everything.
func refusal(t *testing.T, err error) error {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || e.Kind == nil || e.Message == "" || e.Mend == "" {
		t.Fatalf("refused without a kind, a message and a mend: %v", err)
	}
	return e.Kind
}
