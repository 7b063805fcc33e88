package wavfile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// vectorCode is the formula of testdata/wav/make.py.
func vectorCode(frame, channel, channels, bits int) int64 {
	switch frame {
	case 0:
		return -1 << (bits - 1)
	case 1:
		return 1<<(bits-1) - 1
	}
	v := int64(frame*channels+channel+1) * 2654435761 % (1 << 32)
	return (v - 1<<31) >> (32 - bits)
}

func vectorSamples(f Format, frames int) [][]float64 {
	bits := f.Bits
	switch {
	case f.Float && bits == 64:
		bits = 32
	case f.Float:
		bits = 24
	}
	x := make([][]float64, f.Channels)
	for c := range x {
		for i := range frames {
			x[c] = append(x[c], math.Ldexp(float64(vectorCode(i, c, f.Channels, bits)), 1-bits))
		}
	}
	return x
}

func vectorFolder() string {
	if dir := os.Getenv("ASWORN_TESTDATA"); dir != "" {
		return filepath.Join(dir, "wav")
	}
	return filepath.Join("..", "..", "testdata", "wav")
}

// Files that SoX and FFmpeg wrote are read sample for sample, or refused by
// name.
func TestVectors(t *testing.T) {
	dir := vectorFolder()
	list, err := os.ReadFile(filepath.Join(dir, "files.csv"))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(bytes.NewReader(list))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 30 {
		t.Fatal(len(rows), err)
	}
	for _, row := range rows[1:] {
		number := func(i int) int { n, _ := strconv.Atoi(row[i]); return n }
		want := Format{RateHz: number(2), Channels: number(3), Bits: number(4), Float: row[5] == "1", Container: Container(row[6])}
		got, x, err := ReadAll(filepath.Join(dir, row[0]))
		if refused := row[7]; refused != "" {
			var e *Error
			if !errors.As(err, &e) || !strings.Contains(e.Message, refused) {
				t.Errorf("%s: %v, want a refusal that says %q", row[0], err, refused)
			}
			continue
		}
		if err != nil {
			t.Error(err)
			continue
		}
		want.Extensible = got.Extensible // each program's own choice
		if got != want {
			t.Errorf("%s: %+v, want %+v", row[0], got, want)
			continue
		}
		if d := cmp.Diff(vectorSamples(want, 21), x); d != "" {
			t.Errorf("%s: %s", row[0], d)
		}
	}
}

// SoX and FFmpeg read what is written here, and the files of the other layouts
// that tests read, sample for sample. (SoX 14.4.2 knows no RF64.)
func TestToolsReadWhatIsWritten(t *testing.T) {
	sox, noSox := exec.LookPath("sox")
	ffmpeg, noFFmpeg := exec.LookPath("ffmpeg")
	if noSox != nil || noFFmpeg != nil {
		t.Skip("needs sox and ffmpeg")
	}
	const frames = 1001
	formats := []Format{
		{RateHz: 44100, Channels: 1, Bits: 16},
		{RateHz: 48000, Channels: 3, Bits: 24},
		{RateHz: 48000, Channels: 3, Bits: 24, Extensible: true},
		{RateHz: 192000, Channels: 2, Bits: 32},
		{RateHz: 96000, Channels: 1, Bits: 32, Float: true},
		{RateHz: 88200, Channels: 5, Bits: 64, Float: true},
		{RateHz: 48000, Channels: 32, Bits: 24, Extensible: true},
		{RateHz: 48000, Channels: 1, Bits: 24, Container: RF64},
		{RateHz: 176400, Channels: 2, Bits: 32, Float: true, Extensible: true, Container: RF64},
	}
	for _, f := range formats {
		path := filepath.Join(t.TempDir(), "x.wav")
		want := vectorSamples(f, frames)
		if err := writeAny(path, f, want); err != nil {
			t.Fatal(err)
		}
		tools := []*exec.Cmd{exec.Command(ffmpeg, "-v", "error", "-i", path, "-f", "f64le", "-")}
		if f.Container == "" {
			tools = append(tools, exec.Command(sox, "-V1", "-D", path, "-t", "raw", "-e", "floating-point", "-b", "64", "-"))
		}
		for _, c := range tools {
			raw, err := c.Output()
			if err != nil || len(raw) != 8*frames*f.Channels {
				t.Errorf("%s reads %d bytes of %v: %v", filepath.Base(c.Path), len(raw), f, err)
				continue
			}
			for i := range frames {
				for ch := range want {
					got := math.Float64frombits(le.Uint64(raw[8*(i*f.Channels+ch):]))
					if got != want[ch][i] {
						t.Fatalf("%s reads %g for %g: %v, channel %d, frame %d", filepath.Base(c.Path), got, want[ch][i], f, ch+1, i+1)
					}
				}
			}
		}
	}
}
