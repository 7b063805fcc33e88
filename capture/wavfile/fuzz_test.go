package wavfile

import (
	"bytes"
	"errors"
	"io"
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
	f.Fuzz(func(t *testing.T, b []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x")
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > 4<<20 {
			t.Fatalf("%d bytes allocated for a file of %d", used, len(b))
		}
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Kind == nil || e.Message == "" || e.Mend == "" {
				t.Fatalf("refused without a kind, a message and a mend: %v", err)
			}
			return
		}
		format := r.Format()
		if r.Frames() < 1 || r.Frames() > int64(len(b)) || format.Channels < 1 || format.Channels > MaxChannels {
			t.Fatalf("%d frames of %v from %d bytes", r.Frames(), format, len(b))
		}
		x := make([][]float64, format.Channels)
		for c := range x {
			x[c] = make([]float64, 7)
		}
		var total int64
		for {
			n, err := r.Read(x)
			total += int64(n)
			if err == io.EOF {
				break
			}
			if errors.Is(err, ErrNotFinite) {
				return
			}
			if err != nil || n == 0 {
				t.Fatal(n, err)
			}
			for _, v := range x[0][:n] {
				if v-v != 0 || (!format.Float && (v < -1 || v >= 1)) {
					t.Fatalf("sample %g", v)
				}
			}
		}
		if total != r.Frames() {
			t.Fatalf("read %d of %d frames", total, r.Frames())
		}
	})
}
