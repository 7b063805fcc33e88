package wavfile

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
)

// Writer writes one file from front to back, under a temporary name in the
// same folder until [Writer.Close] gives it its own.
type Writer struct {
	path   string
	format Format
	block  int
	limit  int64 // frames
	frames int64
	head   int // bytes before the samples
	file   *os.File
	out    *bufio.Writer
	raw    []byte
	err    error // the first; the file is then never renamed
}

// Check reports what keeps a format from being written.
func (f Format) Check() error {
	switch {
	case f.Channels < 1 || f.Channels > MaxChannels:
		return fmt.Errorf("wavfile: %d channels; want 1 to %d", f.Channels, MaxChannels)
	case f.RateHz < MinRateHz || f.RateHz > MaxRateHz:
		return fmt.Errorf("wavfile: rate of %d Hz; want %d to %d", f.RateHz, MinRateHz, MaxRateHz)
	case f.Float && f.Bits != 32 && f.Bits != 64, !f.Float && f.Bits != 16 && f.Bits != 24 && f.Bits != 32:
		return fmt.Errorf("wavfile: samples of %d bits (float: %t); want integers of 16, 24 or 32 bits or floats of 32 or 64", f.Bits, f.Float)
	}
	switch f.Container {
	case "", RIFF, RF64, BW64:
		return nil
	}
	return fmt.Errorf("wavfile: container %q; want RIFF, RF64 or BW64", f.Container)
}

// Create starts a file of the given format. What is at path stays as it is
// until [Writer.Close]. Only an RF64 or BW64 file may become longer than 4 GiB.
func Create(path string, f Format) (*Writer, error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	if f.Container == "" {
		f.Container = RIFF
	}
	// renameio streams on every system but Windows, where it is not built; a
	// temporary file and a rename are all that is needed of it here.
	file, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return nil, err
	}
	w := &Writer{path: path, format: f, block: f.Channels * f.Bits / 8, file: file, out: bufio.NewWriterSize(file, readBytes)}
	w.raw = make([]byte, max(1, readBytes/w.block)*w.block)
	h := header(f, 0)
	w.head = len(h)
	w.limit = math.MaxInt64 / 2 / int64(w.block)
	if f.Container == RIFF {
		w.limit = (math.MaxUint32 - int64(w.head) - 1) / int64(w.block)
	}
	_, w.err = w.out.Write(h)
	return w, w.err
}

// Write appends frames: one slice per channel, all of the same length. Integer
// formats take -1 to 1, round to the nearest code and store 1 as the largest
// one. A sample beyond that, NaN or an infinity is an error that wraps
// [ErrOverload] or [ErrNotFinite], and the file will not come to be: nothing
// is ever clipped in silence.
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
		return w.fail(&Error{Path: w.path, Kind: ErrTooLong, Message: "a RIFF file holds at most 4 GiB", Mend: "write it as RF64"})
	}
	for done := 0; done < n; {
		k := min(n-done, len(w.raw)/w.block)
		raw := w.raw[:k*w.block]
		for c, x := range channels {
			if i := encode(raw[c*w.format.Bits/8:], x[done:done+k], w.format, w.block); i >= 0 {
				return w.fail(w.misfit(c, w.frames+int64(i), x[done+i]))
			}
		}
		if _, err := w.out.Write(raw); err != nil {
			return w.fail(err)
		}
		w.frames += int64(k)
		done += k
	}
	return nil
}

func (w *Writer) misfit(channel int, frame int64, v float64) error {
	e := &Error{Path: w.path, Kind: ErrOverload, Mend: "lower the level, or write a float format",
		Message: fmt.Sprintf("channel %d, frame %d is %g, beyond full scale", channel+1, frame+1, v)}
	if v-v != 0 || w.format.Float {
		e.Kind, e.Mend = ErrNotFinite, "mend what computed it"
		e.Message = fmt.Sprintf("channel %d, frame %d is %g, which %d bits do not hold", channel+1, frame+1, v, w.format.Bits)
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
	if err := file.Close(); w.err == nil {
		w.err = err
	}
	if w.err == nil {
		w.err = os.Rename(file.Name(), w.path)
	}
	if w.err != nil {
		return errors.Join(w.err, os.Remove(file.Name()))
	}
	return nil
}

// Abort removes what was written, unless Close came first.
func (w *Writer) Abort() {
	if w.err == nil {
		w.err = errors.New("wavfile: aborted")
	}
	w.Close()
}

func (w *Writer) finish(file *os.File) error {
	if w.frames*int64(w.block)%2 == 1 {
		if err := w.out.WriteByte(0); err != nil {
			return err
		}
	}
	if err := w.out.Flush(); err != nil {
		return err
	}
	if _, err := file.WriteAt(header(w.format, w.frames), 0); err != nil {
		return err
	}
	if err := file.Chmod(0o644); err != nil {
		return err
	}
	return file.Sync()
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
