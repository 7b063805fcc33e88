// Package inbox sees which files another recorder has finished in a folder: whole, in
// order, and each once. It only reads there, and knows neither study nor rows.
package inbox

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"asworn/capture/disk"
	"asworn/capture/wavfile"
)

// unfinishedFor is how long a file is left alone whose header promises more than there
// is: recorders write the length when they end. One that stays so is taken all the same,
// and judged as what it is. mostBytes is more than any recording of a row holds. Common
// practice, no source.
const (
	unfinishedFor = 15 * time.Second
	mostBytes     = 1 << 30
)

// otherFormats are the names of recordings that are no WAV files.
var otherFormats = []string{".aif", ".aiff", ".caf", ".flac", ".m4a", ".mp3", ".ogg", ".opus", ".w64", ".wma"}

// Folder is what a recorder writes into. One goroutine may use it at a time.
type Folder struct {
	Dir   string
	now   func() time.Time
	seen  map[string]glance    // by name: as it was when it was looked at
	since map[string]time.Time // when that was seen first
	done  map[string]glance    // as it was when nothing was left to do with it
}

// glance is what a look sees of a file.
type glance struct{ size, time int64 }

// Open returns the folder, in which nothing was seen yet.
func Open(dir string, now func() time.Time) *Folder {
	return &Folder{Dir: dir, now: now, seen: map[string]glance{}, since: map[string]time.Time{}, done: map[string]glance{}}
}

// Path is where a file of the folder lies.
func (f *Folder) Path(name string) string { return filepath.Join(f.Dir, name) }

// Done takes down that a file needs no other look as it is now.
func (f *Folder) Done(name string) { f.done[name] = f.seen[name] }

// Whole looks at the folder and gives the names of the WAV files that are whole and not
// done, in the order in which they were finished: two looks have to agree on size and
// time, but what the first look finds was there before. say hears what is wrong with the
// folder, and why a file is left alone.
func (f *Folder) Whole(first bool, say func(words string)) iter.Seq[string] {
	return func(yield func(string) bool) {
		files, err := f.recordings(say)
		if err != nil {
			say(err.Error())
			return
		}
		for _, r := range files {
			if f.whole(r, first, say) && !yield(r.name) {
				return
			}
		}
	}
}

type recording struct {
	name string
	glance
}

// recordings are the WAV files in the order in which they were finished.
func (f *Folder) recordings(say func(string)) (out []recording, err error) {
	entries, err := os.ReadDir(f.Dir)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		info, err := os.Stat(f.Path(e.Name()))
		if err != nil || !info.Mode().IsRegular() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		ext := strings.ToLower(filepath.Ext(e.Name()))
		if _, known := f.seen[e.Name()]; !known && slices.Contains(otherFormats, ext) {
			f.seen[e.Name()] = glance{} // said once
			say(e.Name() + " is no WAV file and is left where it is: set the recorder to WAV")
		}
		if ext == ".wav" {
			out = append(out, recording{e.Name(), glance{info.Size(), info.ModTime().UnixNano()}})
		}
	}
	slices.SortStableFunc(out, func(a, b recording) int { return cmp.Or(cmp.Compare(a.time, b.time), cmp.Compare(a.name, b.name)) })
	return out, nil
}

// whole reports whether a file is whole as it is now, and not done.
func (f *Folder) whole(r recording, first bool, say func(string)) bool {
	if before, known := f.seen[r.name]; !known || before != r.glance {
		f.seen[r.name], f.since[r.name] = r.glance, f.now()
		if !first {
			return false
		}
	} else if f.done[r.name] == r.glance {
		return false
	}
	switch {
	case r.size == 0:
		return false
	case r.size > mostBytes:
		f.Done(r.name)
		say(fmt.Sprintf("%s holds more than %d MiB, which no recording of a row does; it is left where it is", r.name, mostBytes>>20))
		return false
	case unfinished(f.Path(r.name)) && f.now().Sub(f.since[r.name]) < unfinishedFor:
		say(r.name + " is still being written")
		return false
	}
	return true
}

// unfinished reports whether a recorder has still to write what the header of a file
// promises.
func unfinished(path string) bool {
	r, err := wavfile.Open(path)
	if err == nil {
		return r.Close() != nil
	}
	return errors.Is(err, wavfile.ErrTruncated) || errors.Is(err, wavfile.ErrNoSamples) || errors.Is(err, wavfile.ErrEmpty)
}

// Extends reports whether a file begins with another one, but for a header.
func Extends(before, after string) bool {
	const header = 4096
	a, err := disk.Open(before)
	if err != nil {
		return false
	}
	defer a.Close()
	b, err := disk.Open(after)
	if err != nil {
		return false
	}
	defer b.Close()
	for _, f := range []*os.File{a, b} {
		if _, err := f.Seek(header, io.SeekStart); err != nil {
			return false
		}
	}
	x, y := make([]byte, 1<<16), make([]byte, 1<<16)
	for {
		n, err := io.ReadFull(a, x)
		if m, _ := io.ReadFull(b, y[:n]); m < n || !bytes.Equal(x[:n], y[:n]) {
			return false
		}
		if err != nil { // before has ended
			return true
		}
	}
}
