package wavfile

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// sparse makes an RF64 file of so many frames of silence, three channels of 24
// bits, of which the disk holds almost nothing; last is written into its end.
func sparse(t testing.TB, frames int64, last []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "long.wav")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	h := header(Format{RateHz: 48000, Channels: 3, Bits: 24, Container: RF64}, frames)
	if _, err := out.Write(h); err != nil {
		t.Fatal(err)
	}
	end := int64(len(h)) + frames*9
	if err := out.Truncate(end); err != nil {
		t.Skip("no sparse files here: ", err)
	}
	if _, err := out.WriteAt(last, end-int64(len(last))); err != nil {
		t.Fatal(err)
	}
	return path
}

// A file of 9 GB is opened and read at both ends in little memory, and is not
// held as a whole.
func TestLongFile(t *testing.T) {
	const frames = 1_000_000_000
	path := sparse(t, frames, []byte{0, 0, 0x40, 0, 0, 0xc0, 0, 0, 0x20})
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if r.Frames() != frames {
		t.Fatalf("%d frames", r.Frames())
	}
	const block = 1 << 12
	x := [][]float64{make([]float64, block), make([]float64, block), make([]float64, block)}
	for range 100 {
		if n, err := r.Read(x); n != block || err != nil {
			t.Fatal(n, err)
		}
	}
	if err := r.SeekFrame(frames - 1); err != nil {
		t.Fatal(err)
	}
	if n, err := r.Read(x); n != 1 || err != nil || x[0][0] != 0.5 || x[1][0] != -0.5 || x[2][0] != 0.25 {
		t.Errorf("%d frames, %v: %g %g %g", n, err, x[0][0], x[1][0], x[2][0])
	}
	if _, err := r.Read(x); err != io.EOF {
		t.Errorf("at the end: %v", err)
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("%d bytes allocated", used)
	}
	if _, _, err := ReadAll(path); err == nil || after.TotalAlloc-before.TotalAlloc > 1<<20 {
		t.Errorf("held as a whole: %v", err)
	}
}

// What is beyond the 32 bits of a RIFF file goes into RF64 alone.
func TestLongWrite(t *testing.T) {
	w, err := Create(filepath.Join(t.TempDir(), "x.wav"), Format{RateHz: 48000, Channels: 3, Bits: 24})
	if err != nil {
		t.Fatal(err)
	}
	w.frames = w.limit - 1 // as if so many had been written
	x := [][]float64{{0, 0}, {0, 0}, {0, 0}}
	if err := w.Write(x); err == nil {
		t.Error("more than 4 GiB in a RIFF file")
	}
	if err := w.Close(); err == nil {
		t.Error("closed as if whole")
	}
	long := header(Format{RateHz: 48000, Channels: 3, Bits: 24, Container: BW64}, 1<<33)
	p := &parser{in: io.NewSectionReader(bytes.NewReader(long), 0, int64(len(long))), size: int64(len(long)) + 9<<33}
	if err := p.chunks(); err != nil || p.frames != 1<<33 {
		t.Errorf("%d frames, %v", p.frames, err)
	}
}

// One take of three channels, 10 s at 48 kHz.
func benchmarkRead(b *testing.B, f Format) {
	f.RateHz, f.Channels = 48000, 3
	path := filepath.Join(b.TempDir(), "x.wav")
	x := make([][]float64, f.Channels)
	for c := range x {
		x[c] = make([]float64, 480_000)
		for i := range x[c] {
			x[c][i] = 0.5 * math.Sin(float64(i*(c+1))/50)
		}
	}
	if err := Write(path, f, x); err != nil {
		b.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	for b.Loop() {
		r, err := Open(path)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Read(x); err != nil {
			b.Fatal(err)
		}
		r.Close()
	}
}

func BenchmarkRead(b *testing.B) {
	for _, f := range []Format{{Bits: 16}, {Bits: 24}, {Bits: 32}, {Bits: 32, Float: true}, {Bits: 64, Float: true}} {
		f.RateHz, f.Channels = 48000, 3
		b.Run(f.String(), func(b *testing.B) { benchmarkRead(b, f) })
	}
}

func BenchmarkWrite(b *testing.B) {
	path := filepath.Join(b.TempDir(), "x.wav")
	x := make([][]float64, 3)
	for c := range x {
		x[c] = make([]float64, 480_000)
	}
	b.SetBytes(3 * 3 * 480_000)
	for b.Loop() {
		if err := Write(path, Format{RateHz: 48000, Channels: 3, Bits: 24}, x); err != nil {
			b.Fatal(err)
		}
	}
}
