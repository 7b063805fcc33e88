package wavfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/go-audio/riff"
)

// Wave format codes (Microsoft mmreg.h).
const (
	codePCM        = 0x0001
	codeFloat      = 0x0003
	codeExtensible = 0xFFFE
)

// codecs names what a lab's recorder or converter may have produced instead of
// PCM, after mmreg.h.
var codecs = map[uint16]string{
	0x0002: "Microsoft ADPCM",
	0x0006: "A-law",
	0x0007: "mu-law",
	0x0011: "IMA ADPCM",
	0x0016: "ITU G.723 ADPCM",
	0x0031: "GSM 6.10",
	0x0040: "ITU G.721 ADPCM",
	0x0045: "ITU G.726 ADPCM",
	0x0050: "MPEG audio",
	0x0055: "MP3",
	0x00FF: "AAC",
	0x0160: "Windows Media Audio",
	0x0161: "Windows Media Audio",
	0x0162: "Windows Media Audio",
	0x1610: "AAC",
	0x2000: "AC-3",
	0x2001: "DTS",
	0xF1AC: "FLAC",
}

// magics names other files by how they begin.
var magics = []struct{ magic, name string }{
	{"RIFX", "a big-endian RIFX file"},
	{"riff", "a Wave64 file"},
	{"FORM", "an AIFF file"},
	{"fLaC", "a FLAC file"},
	{"OggS", "an Ogg file"},
	{"ID3", "an MP3 file"},
	{"\xff\xfb", "an MP3 file"},
	{"caff", "a Core Audio file"},
	{".snd", "an AU file"},
}

// Tails of the sub-format GUID whose first two bytes are a wave format code:
// KSDATAFORMAT_SUBTYPE_* and the one of B-format files.
var guidTails = [...]string{
	"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71",
	"\x00\x00\x21\x07\xd3\x11\x86\x44\xc8\xc1\xca\x00\x00\x00",
}

const (
	convert    = "save it as WAV, PCM of 16, 24 or 32 bits or 32-bit float"
	copyAgain  = "copy it again from the recorder, or record it again"
	unknown32  = 1<<32 - 1 // a 32-bit size that stands in the ds64 chunk instead
	maxChunks  = 10_000    // no real file has more before its samples
	maxDS64    = 1 << 16
	ds64Length = 28
)

// layout is what the chunks of a file say.
type layout struct {
	format Format
	start  int64 // of the samples, in bytes
	frames int64
	block  int64 // bytes per frame
}

// parser walks the chunks of one file.
type parser struct {
	name string
	in   *io.SectionReader
	size int64
	ds64 map[[4]byte]uint64
	layout
}

func (p *parser) fail(kind error, mend, format string, args ...any) error {
	return &Error{Path: p.name, Kind: kind, Message: fmt.Sprintf(format, args...), Mend: mend}
}

func parse(in io.ReaderAt, size int64, name string) (layout, error) {
	p := &parser{name: name, in: io.NewSectionReader(in, 0, size), size: size}
	err := p.chunks()
	return p.layout, err
}

func (p *parser) chunks() error {
	if p.size == 0 {
		return p.fail(ErrEmpty, copyAgain, "the file is empty")
	}
	head := make([]byte, min(12, p.size))
	if _, err := io.ReadFull(p.in, head); err != nil {
		return p.broken(err)
	}
	for _, m := range magics {
		if bytes.HasPrefix(head, []byte(m.magic)) {
			return p.fail(ErrNotWAV, convert, "not a WAV file but %s", m.name)
		}
	}
	if len(head) < 12 || string(head[8:]) != "WAVE" {
		return p.fail(ErrNotWAV, convert, "not a WAV file: it begins with %q", head)
	}
	switch p.format.Container = Container(head[:4]); p.format.Container {
	case RIFF, RF64, BW64:
	default:
		return p.fail(ErrNotWAV, convert, "not a WAV file: it begins with %q", head[:4])
	}
	var dataStart, dataSize int64 = -1, 0
	pos := int64(12)
	for n := 0; p.size-pos >= 8; n++ {
		if n == maxChunks {
			return p.fail(ErrHeader, copyAgain, "more than %d chunks and no samples among them", maxChunks)
		}
		id, size, err := p.head(pos)
		if err != nil {
			return err
		}
		pos += 8
		switch string(id[:]) {
		case "ds64":
			err = p.readDS64(size)
		case "fmt ":
			err = p.readFormat(size)
		case "data":
			if dataStart < 0 {
				dataStart, dataSize = pos, size
			}
		}
		if err != nil {
			return err
		}
		if dataStart >= 0 && p.block > 0 {
			return p.samples(dataStart, dataSize)
		}
		if size > p.size-pos {
			break
		}
		pos = p.next(pos+size, size)
	}
	if p.block == 0 {
		return p.fail(ErrHeader, copyAgain, "the file has no format chunk")
	}
	return p.fail(ErrNoSamples, copyAgain, "a header only: the file has no samples")
}

// head reads the name and the size of the chunk at pos, with sizes of 64 bits
// taken from the ds64 chunk.
func (p *parser) head(pos int64) (id [4]byte, size int64, err error) {
	if _, err = p.in.Seek(pos, io.SeekStart); err != nil {
		return id, 0, p.broken(err)
	}
	id, short, err := riff.New(p.in).IDnSize()
	if err != nil {
		return id, 0, p.broken(err)
	}
	if long, ok := p.ds64[id]; ok && short == unknown32 {
		if long > 1<<62 {
			return id, 0, p.fail(ErrHeader, copyAgain, "the %q chunk says it has %d bytes", id[:], long)
		}
		return id, int64(long), nil
	}
	return id, int64(short), nil
}

// next returns where the chunk after one of the given size begins. Chunks of
// odd size are followed by a zero, which some writers leave out.
func (p *parser) next(end, size int64) int64 {
	if size%2 == 0 || p.size-end < 8 {
		return end
	}
	var id [4]byte
	if _, err := p.in.ReadAt(id[:], end); err == nil {
		switch string(id[:]) {
		case "fmt ", "data", "fact", "LIST", "bext", "JUNK", "iXML", "PEAK", "cue ", "ds64":
			return end
		}
	}
	return end + 1
}

func (p *parser) readDS64(size int64) error {
	if p.format.Container == RIFF {
		return nil // stray: the sizes of a RIFF file are in the chunks
	}
	if size < ds64Length || size > maxDS64 {
		return p.fail(ErrHeader, copyAgain, "the ds64 chunk has %d bytes", size)
	}
	b := make([]byte, size)
	if _, err := io.ReadFull(p.in, b); err != nil {
		return p.broken(err)
	}
	le := binary.LittleEndian
	p.ds64 = map[[4]byte]uint64{{'d', 'a', 't', 'a'}: le.Uint64(b[8:])}
	entries := b[ds64Length:]
	for n := le.Uint32(b[24:]); n > 0 && len(entries) >= 12; n-- {
		p.ds64[[4]byte(entries)] = le.Uint64(entries[4:])
		entries = entries[12:]
	}
	return nil
}

func (p *parser) readFormat(size int64) error {
	if size < 16 {
		return p.fail(ErrHeader, copyAgain, "the format chunk has %d bytes, not 16 or more", size)
	}
	b := make([]byte, min(size, 40))
	if _, err := io.ReadFull(p.in, b); err != nil {
		return p.broken(err)
	}
	le := binary.LittleEndian
	f := &p.format
	code := le.Uint16(b)
	f.Channels = int(le.Uint16(b[2:]))
	rate := le.Uint32(b[4:])
	align := int(le.Uint16(b[12:]))
	bits := int(le.Uint16(b[14:]))
	if code == codeExtensible {
		f.Extensible = true
		if len(b) < 40 {
			return p.fail(ErrHeader, copyAgain, "the extensible format chunk has %d bytes, not 40", size)
		}
		tail := string(b[26:40])
		if tail != guidTails[0] && tail != guidTails[1] {
			return p.fail(ErrCodec, convert, "not PCM: sub-format %x", b[24:40])
		}
		code = le.Uint16(b[24:])
	}
	switch code {
	case codePCM:
	case codeFloat:
		f.Float = true
	default:
		name, ok := codecs[code]
		if !ok {
			name = "an unknown codec"
		}
		return p.fail(ErrCodec, convert, "not PCM but %s (format 0x%04X)", name, code)
	}
	// The bits of a sample stand at the top of its bytes, so that a 20-bit
	// sample is read right as one of 24 bits.
	f.Bits = (bits + 7) / 8 * 8
	switch {
	case f.Channels == 0 || f.Channels > MaxChannels:
		return p.fail(ErrHeader, copyAgain, "the header says %d channels; want 1 to %d", f.Channels, MaxChannels)
	case rate < MinRateHz || rate > MaxRateHz:
		return p.fail(ErrHeader, copyAgain, "the header says %d samples per second; want %d to %d", rate, MinRateHz, MaxRateHz)
	case f.Float && f.Bits != 32 && f.Bits != 64, !f.Float && (f.Bits < 8 || f.Bits > 32):
		return p.fail(ErrCodec, convert, "samples of %d bits; integers of 8 to 32 bits and floats of 32 or 64 bits can be read", bits)
	case align != f.Channels*f.Bits/8:
		return p.fail(ErrHeader, copyAgain, "the header says %d bytes for %d channels of %d bits", align, f.Channels, bits)
	}
	f.RateHz, p.block = int(rate), int64(align)
	return nil
}

// samples checks the data chunk against the file.
func (p *parser) samples(start, size int64) error {
	p.start = start
	present := p.size - start
	if size%2 == 0 && size%p.block == 1 {
		size-- // FFmpeg counts the padding byte into the size of an RF64 file's samples
	}
	switch {
	case size > present && size >= 0x7FFFF000 && size <= unknown32 && p.ds64 == nil:
		return p.fail(ErrTruncated, "rewrite it with a converter that ignores the length in the header, or copy it again from the recorder",
			"the length was never written into the header, so the recording may be cut short: %d frames present", present/p.block)
	case size > present:
		return p.fail(ErrTruncated, copyAgain, "truncated: the header promises %d frames, the file holds %d", size/p.block, present/p.block)
	case size == 0 && present >= p.block:
		return p.fail(ErrNoSamples, "the recorder may have stopped before closing the file; "+copyAgain,
			"the header says that there are no samples, yet %d bytes follow it", present)
	case size == 0:
		return p.fail(ErrNoSamples, copyAgain, "a header only: the file has no samples")
	case size%p.block != 0:
		return p.fail(ErrHeader, copyAgain, "%d bytes of samples are not a whole number of frames of %d bytes", size, p.block)
	}
	p.frames = size / p.block
	return p.after(start+size, size)
}

// after looks at what follows the samples. A length in the header that is too
// small leaves samples where a chunk should begin; a name in printable letters
// is taken for a chunk (or a tag), and zeros for a recorder that fills its
// blocks.
func (p *parser) after(end, size int64) error {
	rest := make([]byte, max(0, min(readBytes, p.size-p.next(end, size))))
	if len(rest) < 8 {
		return nil
	}
	if _, err := p.in.ReadAt(rest, p.next(end, size)); err != nil {
		return p.broken(err)
	}
	noName := bytes.ContainsFunc(rest[:4], func(r rune) bool { return r < ' ' || r > '~' })
	if !noName || len(bytes.Trim(rest, "\x00")) == 0 {
		return nil
	}
	return p.fail(ErrHeader, copyAgain, "the header promises %d frames, yet %d bytes follow that are no chunk", p.frames, p.size-end)
}

// broken names the file of an error of reading.
func (p *parser) broken(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return p.fail(ErrTruncated, copyAgain, "truncated within the header")
	}
	if p.name == "" {
		return err
	}
	return fmt.Errorf("%s: %w", p.name, err)
}
