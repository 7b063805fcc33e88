package wavfile

import (
	"errors"
	"fmt"
	"io"

	"asworn/capture/disk"
)

// readBytes is how much is read from the file at once.
const readBytes = 1 << 16

// Reader reads the samples of one file from front to back. It is not safe for
// use by several goroutines.
type Reader struct {
	layout
	name   string
	in     io.ReaderAt
	closer io.Closer
	next   int64 // frame
	raw    []byte
	decode func(dst []float64, raw []byte, step int)
}

// Open opens a file and reads its header. A file whose header does not agree
// with its length is refused, and what is not a regular file is not opened: a
// named pipe would wait for a writer.
func Open(path string) (*Reader, error) {
	f, err := disk.Open(path)
	if errors.Is(err, disk.ErrNotRegular) {
		return nil, &Error{Path: path, Kind: ErrNotWAV, Message: "not a file", Mend: "name a WAV file"}
	}
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	r, err := NewReader(f, info.Size(), path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.closer = f
	return r, nil
}

// NewReader reads a WAV file of size bytes; name is used in errors.
func NewReader(in io.ReaderAt, size int64, name string) (*Reader, error) {
	l, err := parse(in, size, name)
	if err != nil {
		return nil, err
	}
	return &Reader{layout: l, name: name, in: in, decode: decoder(l.format)}, nil
}

// Format returns how the samples are stored.
func (r *Reader) Format() Format { return r.format }

// Frames returns the number of samples per channel.
func (r *Reader) Frames() int64 { return r.frames }

// Read fills dst, one slice per channel and all of the same length, with the
// next frames and returns their number. It is less than asked for only at the
// end, and 0 with io.EOF after it. A float file that holds NaN, an infinity or
// a sample beyond [MaxSample] gives an error that wraps [ErrNotFinite] or
// [ErrImplausible] and names the channel and the frame, both from 1.
func (r *Reader) Read(dst [][]float64) (int, error) {
	if len(dst) != r.format.Channels {
		return 0, fmt.Errorf("wavfile: %d slices for %d channels", len(dst), r.format.Channels)
	}
	for _, d := range dst[1:] {
		if len(d) != len(dst[0]) {
			return 0, errors.New("wavfile: slices for channels differ in length")
		}
	}
	if r.next == r.frames && len(dst[0]) > 0 {
		return 0, io.EOF
	}
	if r.raw == nil { // not before it is needed: many files are opened for their header alone
		r.raw = make([]byte, max(1, min(readBytes/r.block, r.frames))*r.block)
	}
	want := int(min(int64(len(dst[0])), r.frames-r.next))
	for done := 0; done < want; {
		n := min(want-done, len(r.raw)/int(r.block))
		raw := r.raw[:n*int(r.block)]
		if _, err := r.in.ReadAt(raw, r.start+r.next*r.block); err != nil && err != io.EOF {
			return done, fmt.Errorf("%s: %w", r.name, err)
		} else if err == io.EOF && r.start+(r.next+int64(n))*r.block < r.start+r.frames*r.block {
			return done, &Error{Path: r.name, Kind: ErrTruncated, Message: "the file became shorter while it was read", Mend: copyAgain}
		}
		for c := range dst {
			d := dst[c][done : done+n]
			r.decode(d, raw[c*r.format.Bits/8:], int(r.block))
			if !r.format.Float {
				continue
			}
			if i := implausible(d); i >= 0 {
				return done, r.misread(c, r.next+int64(i), d[i])
			}
		}
		done += n
		r.next += int64(n)
	}
	return want, nil
}

func (r *Reader) misread(channel int, frame int64, v float64) error {
	e := &Error{Path: r.name, Kind: ErrImplausible, Mend: copyAgain,
		Message: fmt.Sprintf("channel %d, frame %d is %g, more than %g times full scale", channel+1, frame+1, v, float64(MaxSample))}
	if v-v != 0 {
		e.Kind = ErrNotFinite
		e.Message = fmt.Sprintf("channel %d, frame %d is %g, not a finite number", channel+1, frame+1, v)
	}
	return e
}

// SeekFrame sets the frame that is read next, 0 to Frames. Any other frame is an error.
func (r *Reader) SeekFrame(frame int64) error {
	if frame < 0 || frame > r.frames {
		return fmt.Errorf("wavfile: frame %d of %d", frame, r.frames)
	}
	r.next = frame
	return nil
}

// Close closes the file that [Open] opened. The error is the file's; nil for a reader
// that was not opened by path.
func (r *Reader) Close() error {
	if r.closer == nil {
		return nil
	}
	return r.closer.Close()
}

// ReadAll reads a whole file, one slice per channel. It refuses files of more
// than [MaxReadAll] samples with an error that wraps [ErrTooLong].
func ReadAll(path string) (Format, [][]float64, error) {
	r, err := Open(path)
	if err != nil {
		return Format{}, nil, err
	}
	defer r.Close()
	channels := int64(r.format.Channels)
	if r.frames > MaxReadAll/channels {
		return r.format, nil, &Error{Path: path, Kind: ErrTooLong,
			Message: fmt.Sprintf("%d frames of %d channels (%d min) are more than is held at once", r.frames, channels, r.frames/int64(r.format.RateHz)/60),
			Mend:    "cut it into one file per seating"}
	}
	samples := make([]float64, r.frames*channels)
	out := make([][]float64, channels)
	for c := range out {
		out[c], samples = samples[:r.frames:r.frames], samples[r.frames:]
	}
	_, err = r.Read(out)
	return r.format, out, err
}
