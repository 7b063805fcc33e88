package wavfile

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// file builds a WAV file from chunks.
type chunk struct {
	id   string
	body string
	size int // told in the head; 0 means the true one
}

func file(magic Container, chunks ...chunk) []byte {
	b := []byte(magic + "\x00\x00\x00\x00WAVE")
	for _, c := range chunks {
		size := c.size
		if size == 0 {
			size = len(c.body)
		}
		b = append(b, c.id...)
		b = le.AppendUint32(b, uint32(size))
		b = append(b, c.body...)
	}
	return b
}

// format is the body of a format chunk.
func format(code, channels, rate, align, bits int) string {
	var b []byte
	b = le.AppendUint16(b, uint16(code))
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(rate*align))
	b = le.AppendUint16(b, uint16(align))
	return string(le.AppendUint16(b, uint16(bits)))
}

func fmtChunk(code, channels, rate, align, bits int) chunk {
	return chunk{id: "fmt ", body: format(code, channels, rate, align, bits)}
}

var (
	stereo = fmtChunk(1, 2, 48000, 4, 16)
	four   = chunk{id: "data", body: "\x00\x40\x00\xc0\x00\x20\x00\xe0"} // two frames: .5 −.5, .25 −.25
)

func TestRefusals(t *testing.T) {
	guid := func(code int, tail string) string {
		return format(0xFFFE, 1, 48000, 2, 16) + "\x16\x00\x10\x00\x00\x00\x00\x00" + string(rune(code)) + "\x00" + tail
	}
	cases := []struct {
		name string
		file []byte
		kind error
		says string
	}{
		{"empty", nil, ErrEmpty, "the file is empty"},
		{"short", []byte("RIFF"), ErrNotWAV, "not a WAV"},
		{"text", []byte("file,model,unit\n"), ErrNotWAV, `begins with "file,model,u"`},
		{"avi", []byte("RIFF\x00\x00\x00\x00AVI LIST"), ErrNotWAV, "not a WAV"},
		{"aiff", []byte("FORM\x00\x00\x00\x00AIFFCOMM"), ErrNotWAV, "an AIFF file"},
		{"flac", []byte("fLaC\x00\x00\x00\x22........"), ErrNotWAV, "a FLAC file"},
		{"head alone", file(RIFF), ErrHeader, "no format chunk"},
		{"no data", file(RIFF, stereo), ErrNoSamples, "a header only"},
		{"no samples", file(RIFF, stereo, chunk{id: "data"}), ErrNoSamples, "a header only"},
		{"never closed", file(RIFF, stereo, chunk{id: "data"}, four), ErrNoSamples, "16 bytes follow"},
		{"no format", file(RIFF, four), ErrHeader, "no format chunk"},
		{"truncated", file(RIFF, stereo, chunk{"data", four.body, 400}), ErrTruncated, "promises 100 frames, the file holds 2"},
		{"streamed", file(RIFF, stereo, chunk{"data", four.body, math.MaxUint32}), ErrTruncated, "never written into the header"},
		{"truncated head", file(RIFF, chunk{"fmt ", stereo.body[:9], 16}), ErrTruncated, "within the header"},
		{"too short a length", file(RIFF, stereo, chunk{"data", four.body + "\xff\x01\x02\xfe\x03\x00\x00\x00", len(four.body)}), ErrHeader, "promises 2 frames, yet 8 bytes follow"},
		{"half a frame", file(RIFF, stereo, chunk{id: "data", body: four.body[:6]}), ErrHeader, "whole number of frames"},
		{"no channels", file(RIFF, fmtChunk(1, 0, 48000, 0, 16), four), ErrHeader, "0 channels"},
		{"many channels", file(RIFF, fmtChunk(1, 999, 48000, 1998, 16), four), ErrHeader, "999 channels"},
		{"no rate", file(RIFF, fmtChunk(1, 2, 0, 4, 16), four), ErrHeader, "0 samples per second"},
		{"rate", file(RIFF, fmtChunk(1, 2, math.MaxInt32, 4, 16), four), ErrHeader, "2147483647 samples per second"},
		{"align", file(RIFF, fmtChunk(1, 2, 48000, 6, 16), four), ErrHeader, "6 bytes for 2 channels of 16 bits"},
		{"no bits", file(RIFF, fmtChunk(1, 2, 48000, 4, 0), four), ErrCodec, "samples of 0 bits"},
		{"40 bits", file(RIFF, fmtChunk(1, 2, 48000, 10, 40), four), ErrCodec, "samples of 40 bits"},
		{"half float", file(RIFF, fmtChunk(3, 2, 48000, 4, 16), four), ErrCodec, "samples of 16 bits"},
		{"A-law", file(RIFF, fmtChunk(6, 1, 8000, 1, 8), four), ErrCodec, "A-law (format 0x0006)"},
		{"mu-law", file(RIFF, fmtChunk(7, 1, 8000, 1, 8), four), ErrCodec, "mu-law"},
		{"ADPCM", file(RIFF, fmtChunk(0x11, 1, 8000, 256, 4), four), ErrCodec, "IMA ADPCM"},
		{"MP3", file(RIFF, fmtChunk(0x55, 1, 48000, 1, 0), four), ErrCodec, "MP3"},
		{"unknown", file(RIFF, fmtChunk(0x7777, 1, 48000, 1, 0), four), ErrCodec, "an unknown codec (format 0x7777)"},
		{"A-law, extensible", file(RIFF, chunk{id: "fmt ", body: guid(6, guidTails[0])}, four), ErrCodec, "A-law"},
		{"foreign GUID", file(RIFF, chunk{id: "fmt ", body: guid(1, strings.Repeat("x", 14))}, four), ErrCodec, "sub-format"},
		{"short extensible", file(RIFF, fmtChunk(0xFFFE, 2, 48000, 4, 16), four), ErrHeader, "not 40"},
		{"short format", file(RIFF, chunk{id: "fmt ", body: "abcd"}, four), ErrHeader, "has 4 bytes"},
		{"short ds64", file(RF64, chunk{id: "ds64", body: "abcd"}, stereo, four), ErrHeader, "ds64 chunk has 4 bytes"},
		{"ds64 lies", file(RF64, chunk{id: "ds64", body: strings.Repeat("\xff", 28)}, stereo, chunk{"data", four.body, math.MaxUint32}), ErrHeader, "18446744073709551615 bytes"},
		{"ds64 promises", file(RF64, chunk{id: "ds64", body: "........" + "\x00\x00\x00\x00\x00\x01\x00\x00" + "............"}, stereo,
			chunk{"data", four.body, math.MaxUint32}), ErrTruncated, "promises 274877906944 frames, the file holds 2"},
		{"no end of chunks", file(RIFF, slices.Repeat([]chunk{{id: "JUNK"}}, maxChunks+1)...), ErrHeader, "chunks"},
	}
	for _, c := range cases {
		path := filepath.Join(t.TempDir(), "x.wav")
		if err := os.WriteFile(path, c.file, 0o644); err != nil {
			t.Fatal(err)
		}
		_, _, err := ReadAll(path)
		var e *Error
		if !errors.Is(err, c.kind) || !errors.As(err, &e) {
			t.Errorf("%s: %v, want kind %v", c.name, err, c.kind)
			continue
		}
		if e.Path != path || e.Mend == "" || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want it to name the file, say %q and a mend, in one line", c.name, err, c.says)
		}
	}
}

// What real files have around their samples does not disturb.
func TestChunksAround(t *testing.T) {
	odd := chunk{id: "LIST", body: "INFOISFT\x05\x00\x00\x00asworn"[:17]}
	padded := odd
	padded.body, padded.size = odd.body+"\x00", len(odd.body)
	bext := chunk{id: "bext", body: strings.Repeat("x", 603) + "\x00", size: 603}
	cases := map[string][]byte{
		"plain":            file(RIFF, stereo, four),
		"odd, padded":      file(RIFF, padded, stereo, padded, four),
		"odd, not padded":  file(RIFF, odd, stereo, odd, four),
		"broadcast":        file(RIFF, chunk{id: "JUNK", body: strings.Repeat("\x00", 28)}, bext, stereo, four),
		"after":            file(RIFF, stereo, four, padded, chunk{id: "cue ", body: "abcd"}),
		"broken after":     append(file(RIFF, stereo, four), "LIS"...),
		"zeros after":      append(file(RIFF, stereo, four), make([]byte, 300)...),
		"tag after":        append(file(RIFF, stereo, four), "TAG"+strings.Repeat(" ", 125)...),
		"data first":       file(RIFF, four, stereo),
		"long format":      file(RIFF, chunk{id: "fmt ", body: stereo.body + "\x00\x00"}, four),
		"stray ds64":       file(RIFF, chunk{id: "ds64", body: "abcd"}, stereo, four),
		"RF64, small":      file(RF64, chunk{id: "ds64", body: strings.Repeat("\x00", 28)}, stereo, four),
		"RF64":             file(RF64, chunk{id: "ds64", body: "........" + "\x08\x00\x00\x00\x00\x00\x00\x00" + "............"}, stereo, chunk{"data", four.body, math.MaxUint32}),
		"BW64, long chunk": file(BW64, chunk{id: "ds64", body: "........" + "\x08\x00\x00\x00\x00\x00\x00\x00" + "........" + "\x01\x00\x00\x00" + "axml\x02\x00\x00\x00\x00\x00\x00\x00"}, chunk{"axml", "<>", math.MaxUint32}, stereo, chunk{"data", four.body, math.MaxUint32}),
	}
	for name, b := range cases {
		r, err := NewReader(bytes.NewReader(b), int64(len(b)), name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got := [][]float64{make([]float64, 2), make([]float64, 2)}
		if n, err := r.Read(got); n != 2 || err != nil {
			t.Errorf("%s: %d, %v", name, n, err)
		}
		if got[0][0] != 0.5 || got[1][0] != -0.5 || got[0][1] != 0.25 || got[1][1] != -0.25 {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestWriteRefusals(t *testing.T) {
	good := Format{RateHz: 48000, Channels: 1, Bits: 24}
	change := func(f func(*Format)) Format {
		g := good
		f(&g)
		return g
	}
	float := change(func(f *Format) { f.Float, f.Bits = true, 32 })
	cases := []struct {
		name string
		f    Format
		x    [][]float64
		says string
	}{
		{"overload", good, [][]float64{{0, 1.001}}, "channel 1, frame 2 is 1.001, beyond full scale"},
		{"NaN", good, [][]float64{{math.NaN()}}, "frame 1 is NaN"},
		{"NaN, float", float, [][]float64{{math.NaN()}}, "frame 1 is NaN"},
		{"infinite, float", float, [][]float64{{math.Inf(1)}}, "+Inf, not a finite number"},
		{"huge, float", float, [][]float64{{1e39}}, "1e+39, more than 1e+06 times full scale"},
		{"huge, 64-bit float", change(func(f *Format) { f.Float, f.Bits = true, 64 }), [][]float64{{-1.1e6}}, "-1.1e+06, more than"},
		{"channels", good, [][]float64{{0}, {0}}, "2 slices for 1 channels"},
		{"no channels", change(func(f *Format) { f.Channels = 0 }), nil, "0 channels"},
		{"rate", change(func(f *Format) { f.RateHz = 0 }), [][]float64{{0}}, "0 Hz"},
		{"bits", change(func(f *Format) { f.Bits = 20 }), [][]float64{{0}}, "20 bits"},
		{"container", change(func(f *Format) { f.Container = RF64 }), [][]float64{{0}}, "RF64"},
		{"extensible", change(func(f *Format) { f.Extensible = true }), [][]float64{{0}}, "extensible: true"},
	}
	for _, c := range cases {
		dir := t.TempDir()
		path := filepath.Join(dir, "x.wav")
		if err := os.WriteFile(path, []byte("before"), 0o644); err != nil {
			t.Fatal(err)
		}
		err := Write(path, c.f, c.x)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
		left, _ := os.ReadDir(dir)
		if b, _ := os.ReadFile(path); string(b) != "before" || len(left) != 1 {
			t.Errorf("%s: the file that was there is gone, or another is left", c.name)
		}
	}
}

// A sample that no recording holds is told with its channel and frame, wherever
// in the file it is.
func TestImplausibleSamples(t *testing.T) {
	const frames, at = 20_000, 15_000
	cases := []struct {
		bits int
		v    float64
		kind error
	}{
		{32, math.NaN(), ErrNotFinite},
		{32, math.Inf(-1), ErrNotFinite},
		{32, 1e38, ErrImplausible},
		{64, math.NaN(), ErrNotFinite},
		{64, -1e300, ErrImplausible},
		{64, math.Nextafter(MaxSample, math.Inf(1)), ErrImplausible},
		{64, MaxSample, nil},
		{32, -MaxSample, nil},
	}
	for _, c := range cases {
		f := Format{RateHz: 48000, Channels: 3, Bits: c.bits, Float: true}
		x := [][]float64{make([]float64, frames), make([]float64, frames), make([]float64, frames)}
		b := whole(f, x)
		raw := b[len(b)-frames*3*c.bits/8:][(at*3+1)*c.bits/8:]
		if c.bits == 32 {
			le.PutUint32(raw, math.Float32bits(float32(c.v)))
		} else {
			le.PutUint64(raw, math.Float64bits(c.v))
		}
		r, err := NewReader(bytes.NewReader(b), int64(len(b)), "x.wav")
		if err != nil {
			t.Fatal(err)
		}
		n, err := r.Read(x)
		if !errors.Is(err, c.kind) || (err == nil) != (c.kind == nil) {
			t.Errorf("%g in %v: %v, want %v", c.v, f, err, c.kind)
		}
		if err != nil && (n > at || !strings.HasPrefix(err.Error(), "x.wav: channel 2, frame 15001 is ")) {
			t.Errorf("%g in %v: %d frames, %v", c.v, f, n, err)
		}
	}
}
