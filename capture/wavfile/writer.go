package wavfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"

	"asworn/capture/disk"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

// Writer writes one file from front to back, under a temporary name in the
// same folder until [Writer.Close] gives it its own. Memory stays at two
// buffers of 64 KiB.
type Writer struct {
	path   string
	format Format
	block  int   // bytes per frame
	limit  int64 // frames
	frames int64
	file   *disk.Pending
	enc    *wav.Encoder
	raw    []byte
	err    error // the first; the file is then never renamed
}

// sink is a file behind a buffer, for the encoder, which writes frame by frame
// and goes back to fill in the sizes.
type sink struct {
	*bufio.Writer
	file io.Seeker
}

// Seek writes out what is in the buffer and sets where the file goes on.
func (s sink) Seek(offset int64, whence int) (int64, error) {
	if err := s.Flush(); err != nil {
		return 0, err
	}
	return s.file.Seek(offset, whence)
}

// Check reports what keeps a format from being written: integers of 16, 24 or 32 bits and
// floats of 32 or 64, in RIFF files. The error names the value and what is possible.
func (f Format) Check() error {
	switch {
	case f.Channels < 1 || f.Channels > MaxChannels:
		return fmt.Errorf("wavfile: %d channels; want 1 to %d", f.Channels, MaxChannels)
	case f.RateHz < MinRateHz || f.RateHz > MaxRateHz:
		return fmt.Errorf("wavfile: rate of %d Hz; want %d to %d", f.RateHz, MinRateHz, MaxRateHz)
	case f.Float && f.Bits != 32 && f.Bits != 64, !f.Float && f.Bits != 16 && f.Bits != 24 && f.Bits != 32:
		return fmt.Errorf("wavfile: samples of %d bits (float: %t); want integers of 16, 24 or 32 bits or floats of 32 or 64", f.Bits, f.Float)
	}
	if f.Extensible || f.Container != "" && f.Container != RIFF {
		return fmt.Errorf("wavfile: container %q (extensible: %t); plain RIFF files are written", f.Container, f.Extensible)
	}
	return nil
}

// Create starts a file of the given format. What is at path stays as it is until
// [Writer.Close]. It fails as Format.Check does, or as [disk.Create].
func Create(path string, f Format) (*Writer, error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	file, err := disk.Create(path)
	if err != nil {
		return nil, err
	}
	w := &Writer{path: path, format: f, block: f.Channels * f.Bits / 8, file: file}
	w.raw = make([]byte, max(1, readBytes/w.block)*w.block)
	// The encoder takes memory for a minute of the channels that it is made
	// with, and is therefore told their number afterwards.
	w.enc = wav.NewEncoder(sink{bufio.NewWriterSize(file, readBytes), file}, f.RateHz, f.Bits, 0, codePCM)
	w.enc.NumChans = f.Channels
	if f.Float { // what is written before the samples takes the place of the encoder's own head
		w.err = w.enc.AddLE(floatHead(f))
	}
	if w.err == nil {
		w.err = w.enc.Write(&audio.IntBuffer{}) // no samples yet, but the heads
	}
	w.limit = (math.MaxUint32 - int64(w.enc.WrittenBytes) - 1) / int64(w.block)
	if w.err != nil {
		return nil, w.Close()
	}
	return w, nil
}

// factFrames is where a float file tells its number of frames.
const factFrames = 46

// floatHead is what stands before the data chunk of a float file, with sizes
// that are filled in at the end: what is not integer PCM has a format chunk of
// 18 bytes and a fact chunk (Microsoft, New Multimedia Data Types and Data
// Techniques, 1994), which go-audio does not write.
func floatHead(f Format) []byte {
	block := f.Channels * f.Bits / 8
	b := append(make([]byte, 0, factFrames+4), "RIFF\x00\x00\x00\x00WAVEfmt "...)
	b = le.AppendUint32(b, 18)
	b = le.AppendUint16(b, codeFloat)
	b = le.AppendUint16(b, uint16(f.Channels))
	b = le.AppendUint32(b, uint32(f.RateHz))
	b = le.AppendUint32(b, uint32(f.RateHz*block))
	b = le.AppendUint16(b, uint16(block))
	b = le.AppendUint16(b, uint16(f.Bits))
	b = le.AppendUint16(b, 0)
	b = append(b, "fact"...)
	b = le.AppendUint32(b, 4)
	return le.AppendUint32(b, 0)
}

// Write appends frames: one slice per channel, all of the same length. Integer
// formats take -1 to 1, round to the nearest code and store 1 as the largest
// one; float formats take up to [MaxSample]. A sample beyond that, NaN or an
// infinity is an error that wraps [ErrOverload] or [ErrNotFinite], and the file
// will not come to be: nothing is ever clipped in silence.
func (w *Writer) Write(channels [][]float64) error {
	if w.err != nil {
		return w.err
	}
	if len(channels) != w.format.Channels {
		return w.fail(fmt.Errorf("%s: %d slices for %d channels", w.path, len(channels), w.format.Channels))
	}
	n := len(channels[0])
	for _, c := range channels[1:] {
		if len(c) != n {
			return w.fail(fmt.Errorf("%s: slices for channels differ in length", w.path))
		}
	}
	if int64(n) > w.limit-w.frames {
		return w.fail(&Error{Path: w.path, Kind: ErrTooLong, Message: "a RIFF file holds at most 4 GiB", Mend: "write several files"})
	}
	for done := 0; done < n; {
		k := min(n-done, len(w.raw)/w.block)
		raw := w.raw[:k*w.block]
		for c, x := range channels {
			if i := encode(raw[c*w.format.Bits/8:], x[done:done+k], w.format, w.block); i >= 0 {
				return w.fail(w.misfit(c, w.frames+int64(i), x[done+i]))
			}
		}
		for ; len(raw) > 0; raw = raw[w.block:] {
			if err := w.enc.WriteFrame(raw[:w.block]); err != nil {
				return w.fail(err)
			}
		}
		w.frames += int64(k)
		done += k
	}
	return nil
}

func (w *Writer) misfit(channel int, frame int64, v float64) error {
	e := &Error{Path: w.path, Kind: ErrOverload, Mend: "lower the level, or write a float format",
		Message: fmt.Sprintf("channel %d, frame %d is %g, beyond full scale", channel+1, frame+1, v)}
	switch {
	case v-v != 0:
		e.Kind, e.Mend = ErrNotFinite, "correct what computed it"
		e.Message = fmt.Sprintf("channel %d, frame %d is %g, not a finite number", channel+1, frame+1, v)
	case w.format.Float:
		e.Mend = "correct what computed it"
		e.Message = fmt.Sprintf("channel %d, frame %d is %g, more than %g times full scale", channel+1, frame+1, v, float64(MaxSample))
	}
	return e
}

func (w *Writer) fail(err error) error {
	w.err = err
	return err
}

// Close writes the sizes into the header and gives the file its name. After an
// error of Write, it removes what was written and returns that error. Further
// calls do nothing.
func (w *Writer) Close() error {
	if w.file == nil {
		return w.err
	}
	file := w.file
	w.file = nil
	if w.err == nil {
		w.err = w.finish(file)
	}
	if w.err != nil {
		return errors.Join(w.err, file.Abort())
	}
	w.err = file.Commit()
	return w.err
}

func (w *Writer) finish(file *disk.Pending) error {
	if w.frames*int64(w.block)%2 == 1 {
		if err := w.enc.AddLE(byte(0)); err != nil { // chunks begin at even places
			return err
		}
	}
	if err := w.enc.Close(); err != nil {
		return err
	}
	if w.format.Float {
		if _, err := file.WriteAt(le.AppendUint32(nil, uint32(w.frames)), factFrames); err != nil {
			return err
		}
	}
	return nil
}

// Write writes a whole file, atomically: one slice per channel, all of the same
// length. See [Create] and [Writer.Write] for what it refuses.
func Write(path string, f Format, channels [][]float64) error {
	w, err := Create(path, f)
	if err != nil {
		return err
	}
	w.Write(channels)
	return w.Close()
}
