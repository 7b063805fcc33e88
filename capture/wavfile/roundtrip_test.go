package wavfile

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// formats draws any format that can be read without loss.
var formats = rapid.Custom(func(t *rapid.T) Format {
	f := Format{
		RateHz:     rapid.SampledFrom([]int{44100, 48000, 88200, 96000, 176400, 192000}).Draw(t, "rate"),
		Channels:   rapid.IntRange(1, 32).Draw(t, "channels"),
		Container:  rapid.SampledFrom([]Container{RIFF, RF64, BW64}).Draw(t, "container"),
		Extensible: rapid.Bool().Draw(t, "extensible"),
		Float:      rapid.Bool().Draw(t, "float"),
	}
	if f.Float {
		f.Bits = rapid.SampledFrom([]int{32, 64}).Draw(t, "bits")
	} else {
		f.Bits = rapid.SampledFrom([]int{16, 24, 32}).Draw(t, "bits")
	}
	return f
})

// representable draws a value that the format holds exactly.
func representable(t *rapid.T, f Format) float64 {
	switch {
	case f.Float && f.Bits == 64:
		return rapid.Float64Range(-MaxSample, MaxSample).Draw(t, "v")
	case f.Float:
		return float64(rapid.Float32Range(-MaxSample, MaxSample).Draw(t, "v"))
	}
	full := int64(1) << (f.Bits - 1)
	return float64(rapid.Int64Range(-full, full-1).Draw(t, "v")) / float64(full)
}

// What is written is read again, bit by bit, in pieces of any size.
func TestRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.wav")
	rapid.Check(t, func(t *rapid.T) {
		f := formats.Draw(t, "format")
		n := rapid.IntRange(1, 50).Draw(t, "frames")
		want := make([][]float64, f.Channels)
		for c := range want {
			want[c] = make([]float64, n)
			for i := range want[c] {
				want[c][i] = representable(t, f)
			}
		}
		if err := writeAny(path, f, want); err != nil {
			t.Fatal(err)
		}
		r, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		if r.Format() != f || r.Frames() != int64(n) {
			t.Fatalf("read %v of %d frames, wrote %v of %d", r.Format(), r.Frames(), f, n)
		}
		got := make([][]float64, f.Channels)
		piece := make([][]float64, f.Channels)
		size := rapid.IntRange(1, n+3).Draw(t, "piece")
		for c := range piece {
			piece[c] = make([]float64, size)
		}
		for {
			k, err := r.Read(piece)
			if err == io.EOF {
				break
			}
			if err != nil || k == 0 {
				t.Fatal(k, err)
			}
			for c := range got {
				got[c] = append(got[c], piece[c][:k]...)
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

// The encoder's files are those of the standards, byte by byte: go-audio's
// against what is built here from the texts, with the padding and the fact
// chunk that it leaves to its caller.
func TestBytes(t *testing.T) {
	for _, f := range []Format{
		{Channels: 1, Bits: 16}, {Channels: 1, Bits: 24}, {Channels: 3, Bits: 24}, {Channels: 2, Bits: 32},
		{Channels: 1, Bits: 32, Float: true}, {Channels: 2, Bits: 64, Float: true},
	} {
		f.RateHz = 48000
		for _, frames := range []int{0, 1, 2, 21845, 21846, 50_001} { // about a buffer's length, too
			x := make([][]float64, f.Channels)
			for c := range x {
				x[c] = make([]float64, frames)
				for i := range x[c] {
					x[c][i] = math.Sin(float64(i*(c+1)) / 10)
				}
			}
			path := filepath.Join(t.TempDir(), "x.wav")
			if err := Write(path, f, x); err != nil {
				t.Fatal(err)
			}
			got, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, whole(f, x)) {
				t.Errorf("%v, %d frames: %d bytes differ from the standard's %d", f, frames, len(got), len(whole(f, x)))
			}
		}
	}
}

// Writing takes no memory that grows with the file.
func TestWriteMemory(t *testing.T) {
	x := [][]float64{make([]float64, 1<<18), make([]float64, 1<<18), make([]float64, 1<<18)}
	path := filepath.Join(t.TempDir(), "x.wav")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if err := Write(path, Format{RateHz: 192000, Channels: 3, Bits: 24}, x); err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("%d bytes allocated for a file of %d", used, 9<<18)
	}
}

// Integers are rounded to the nearest code: the error is half a step at most.
func TestRounding(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.wav")
	rapid.Check(t, func(t *rapid.T) {
		f := Format{RateHz: 48000, Channels: 1, Bits: rapid.SampledFrom([]int{16, 24, 32}).Draw(t, "bits")}
		x := rapid.SliceOfN(rapid.Float64Range(-1, 1), 1, 50).Draw(t, "x")
		if err := Write(path, f, [][]float64{x}); err != nil {
			t.Fatal(err)
		}
		_, got, err := ReadAll(path)
		if err != nil {
			t.Fatal(err)
		}
		step := math.Ldexp(1, 1-f.Bits)
		for i, v := range x {
			limit := step / 2
			if v > 1-step/2 {
				limit = step // there is no code at full scale
			}
			if d := math.Abs(got[0][i] - v); d > limit {
				t.Fatalf("%g became %g with %d bits", v, got[0][i], f.Bits)
			}
		}
	})
}

// go-audio/wav reads what is written here, and the other way round.
func TestAgainstGoAudio(t *testing.T) {
	for _, bits := range []int{16, 24, 32} {
		const channels, frames = 3, 1000
		full := math.Ldexp(1, bits-1)
		want := make([][]float64, channels)
		var codes []int
		for c := range want {
			want[c] = make([]float64, frames)
		}
		for i := range frames {
			for c := range want {
				code := int(full*math.Sin(float64(i*(c+1))/10)) - 1
				codes = append(codes, code)
				want[c][i] = float64(code) / full
			}
		}
		dir := t.TempDir()
		ours, theirs := filepath.Join(dir, "ours.wav"), filepath.Join(dir, "theirs.wav")
		if err := Write(ours, Format{RateHz: 48000, Channels: channels, Bits: bits}, want); err != nil {
			t.Fatal(err)
		}
		in, err := os.Open(ours)
		if err != nil {
			t.Fatal(err)
		}
		defer in.Close()
		buf, err := wav.NewDecoder(in).FullPCMBuffer()
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(codes, buf.Data); d != "" {
			t.Errorf("%d bits, read by go-audio: %s", bits, d)
		}
		out, err := os.Create(theirs)
		if err != nil {
			t.Fatal(err)
		}
		defer out.Close()
		enc := wav.NewEncoder(out, 48000, bits, channels, 1)
		if err := enc.Write(&audio.IntBuffer{Format: &audio.Format{NumChannels: channels, SampleRate: 48000}, Data: codes, SourceBitDepth: bits}); err != nil {
			t.Fatal(err)
		}
		if err := enc.Close(); err != nil {
			t.Fatal(err)
		}
		_, got, err := ReadAll(theirs)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%d bits, written by go-audio: %s", bits, d)
		}
	}
}
