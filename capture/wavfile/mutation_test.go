package wavfile

import (
	"bytes"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// mutate returns a damaged copy of a file: flipped bits, zeroed or repeated
// stretches, an end cut off, another file spliced in, or a number of the header
// that is absurd. What happens follows from rng alone.
func mutate(rng *rand.Rand, b, other []byte) []byte {
	b = bytes.Clone(b)
	head := min(len(b), 128)
	absurd := []uint32{0, 1, 2, 0x7fff, 0x8000, 0xffff, 0x10000, 0x7ffffff0, 0x7fffffff, 0x80000000, 0xfffffff0, 0xfffffffe, 0xffffffff}
	for range 1 + rng.IntN(3) {
		if len(b) < 8 {
			return b
		}
		switch rng.IntN(8) {
		case 0: // bits of the header
			for range 1 + rng.IntN(4) {
				b[rng.IntN(min(head, len(b)))] ^= 1 << rng.IntN(8)
			}
		case 1: // bits anywhere
			for range 1 + rng.IntN(16) {
				b[rng.IntN(len(b))] ^= 1 << rng.IntN(8)
			}
		case 2:
			b = b[:rng.IntN(len(b))]
		case 3: // another file from some place on
			b = append(b[:rng.IntN(len(b))], other[rng.IntN(len(other)):]...)
		case 4: // a stretch twice
			i, j := rng.IntN(len(b)), rng.IntN(len(b))
			b = append(b[:max(i, j):max(i, j)], b[min(i, j):]...)
		case 5:
			i, j := rng.IntN(len(b)), rng.IntN(len(b))
			clear(b[min(i, j):max(i, j)])
		case 6: // a number of the header
			binary.LittleEndian.PutUint32(b[rng.IntN(min(head, len(b))-4):], absurd[rng.IntN(len(absurd))])
		case 7: // the size of a chunk
			id := []string{"RIFF", "fmt ", "data", "fact", "ds64", "LIST"}[rng.IntN(6)]
			if at := bytes.Index(b, []byte(id)); at >= 0 && at+8 <= len(b) {
				binary.LittleEndian.PutUint32(b[at+4:], absurd[rng.IntN(len(absurd))])
			}
		}
	}
	return b
}

// Damaged files are read as samples that a recording can hold, or refused with
// a kind, a finding and a mend: no panic, no memory beyond the file's own size,
// no sample that is not finite. [check] holds the conditions.
func TestMutations(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "wav", "*.wav"))
	if err != nil || len(files) < 30 {
		t.Fatal(len(files), err)
	}
	var seeds, others [][]byte // those that are read whole, and all of them
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if others = append(others, b); check(t, b) == nil {
			seeds = append(seeds, b)
		}
	}
	for _, f := range []Format{{Channels: 3, Bits: 24}, {Channels: 2, Bits: 32, Float: true}, {Channels: 2, Bits: 64, Float: true, Container: RF64, Extensible: true}} {
		f.RateHz = 48000
		seeds = append(seeds, whole(f, vectorSamples(f, 3000)))
	}
	rounds := 20_000
	if testing.Short() {
		rounds = 3_000
	}
	rng := rand.New(rand.NewPCG(17, 2213))
	read, refused := 0, map[error]int{}
	for range rounds {
		b := mutate(rng, seeds[rng.IntN(len(seeds))], others[rng.IntN(len(others))])
		if kind := check(t, b); kind == nil {
			read++
		} else {
			refused[kind]++
		}
		if t.Failed() {
			return
		}
	}
	// A battery that everything passes, or nothing, tests nothing.
	if read < rounds/10 || read > rounds*9/10 {
		t.Errorf("%d of %d were read", read, rounds)
	}
	for _, kind := range []error{ErrNotWAV, ErrNoSamples, ErrTruncated, ErrCodec, ErrHeader, ErrNotFinite, ErrImplausible} {
		if refused[kind] == 0 {
			t.Errorf("none was refused as %q", kind)
		}
	}
	t.Logf("%d read, %d not: %v", read, rounds-read, refused)
}

// A length that was flipped to a smaller one does not pass for a short
// recording: the samples behind it are no chunk.
func TestShortenedLength(t *testing.T) {
	f := Format{RateHz: 48000, Channels: 3, Bits: 24}
	good := whole(f, vectorSamples(f, 3000))
	missed := 0
	for frames := uint32(1); frames < 3000; frames++ {
		b := bytes.Clone(good)
		binary.LittleEndian.PutUint32(b[40:], 9*frames)
		if _, err := NewReader(bytes.NewReader(b), int64(len(b)), "x"); err == nil {
			missed++
		}
	}
	if missed > 60 { // four printable letters by chance: (95/256)^4 = 1.9 %
		t.Errorf("%d of 2999 shortened lengths were believed", missed)
	}
}

// check reads a file of any bytes to its end and returns the kind of its
// refusal, or nil.
func check(t *testing.T, b []byte) error {
	t.Helper()
	r, kind := open(t, b)
	if kind != nil {
		return kind
	}
	format := r.Format()
	if r.Frames() < 1 || r.Frames() > int64(len(b)) || format.Channels < 1 || format.Channels > MaxChannels {
		t.Fatalf("%d frames of %v from %d bytes", r.Frames(), format, len(b))
	}
	x := make([][]float64, format.Channels)
	for c := range x {
		x[c] = make([]float64, 700)
	}
	var total int64
	for {
		n, err := r.Read(x)
		total += int64(n)
		for c := range x {
			for _, v := range x[c][:n] {
				if !(v >= -MaxSample && v <= MaxSample) || (!format.Float && (v < -1 || v >= 1)) {
					t.Fatalf("sample %g of %v", v, format)
				}
			}
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return refusal(t, err)
		}
		if n == 0 {
			t.Fatal("nothing read, and no error")
		}
	}
	if total != r.Frames() {
		t.Fatalf("read %d of %d frames", total, r.Frames())
	}
	return nil
}
