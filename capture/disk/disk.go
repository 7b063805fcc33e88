// Package disk opens and writes files: only regular ones are opened, within a
// bound, and each is written whole or not at all.
package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// ErrNotRegular is what a folder, a named pipe or a device gives: opening a pipe waits
// for a writer, and a device may never end. It is wrapped in an *fs.PathError.
var ErrNotRegular = errors.New("not a regular file")

// ErrTooLarge is what a file beyond the bound of its reader gives. It is wrapped in an
// *fs.PathError that names the bound in KiB.
var ErrTooLarge = errors.New("which no such file is")

// Open opens a regular file for reading; errors are *fs.PathError.
func Open(path string) (*os.File, error) {
	// Looked at first because opening alone sets some devices going, and again
	// because another file may have come to lie there.
	if info, err := os.Stat(path); err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: ErrNotRegular}
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, &fs.PathError{Op: "open", Path: path, Err: errors.Join(ErrNotRegular, err)}
	}
	return f, nil
}

// ReadFile reads a regular file of at most limit bytes. Errors are *fs.PathError; a
// longer file wraps ErrTooLarge and gives no bytes.
func ReadFile(path string, limit int64) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(b)) > limit {
		err = &fs.PathError{Op: "read", Path: path, Err: fmt.Errorf("larger than %d KiB, %w", limit>>10, ErrTooLarge)}
	}
	if err != nil {
		return nil, err
	}
	return b, nil
}

// Names of files that are being written: their own, so that what a killed
// program left can be told from everything else.
const (
	pendingPrefix = ".asworn-"
	pendingSuffix = ".part"
)

// Pending is a file that is being written, beside its place.
type Pending struct {
	*os.File
	root *os.Root
	own  bool // root is closed with the file
	part string
	name string
	done bool
}

// Create starts a file; what lies at path stays until Commit. The folder must be there.
// Errors name path.
func Create(path string) (*Pending, error) {
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	p, err := create(root, filepath.Base(path))
	if err != nil {
		root.Close()
		return nil, about(path, err)
	}
	p.own = true
	return p, nil
}

func create(root *os.Root, name string) (*Pending, error) {
	for {
		part := filepath.Join(filepath.Dir(name), fmt.Sprintf("%s%016x%s", pendingPrefix, rand.Uint64(), pendingSuffix))
		f, err := root.OpenFile(part, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		return &Pending{File: f, root: root, part: part, name: name}, nil
	}
}

// about has an error name the file that was to be written, not the one beside its place.
func about(path string, err error) error {
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		return &fs.PathError{Op: "write", Path: path, Err: e.Err}
	}
	return err
}

// Write adds to the file. It returns how many bytes were written, fewer than len(b) with
// an error that names the file's own place.
func (p *Pending) Write(b []byte) (int, error) {
	n, err := p.File.Write(b)
	if err != nil {
		err = about(filepath.Join(filepath.Dir(p.Name()), filepath.Base(p.name)), err)
	}
	return n, err
}

// Commit brings what was written to the disk and gives it its name. After an
// error nothing is left of it.
func (p *Pending) Commit() error {
	if p.done {
		return fs.ErrClosed
	}
	if err := p.Sync(); err != nil {
		return errors.Join(err, p.Abort())
	}
	return p.giveName()
}

// giveName closes the file and gives it its name.
func (p *Pending) giveName() error {
	p.done = true
	err := p.Close()
	if err == nil {
		err = p.root.Rename(p.part, p.name)
	}
	if err != nil {
		err = errors.Join(err, p.root.Remove(p.part))
	}
	return errors.Join(err, p.release())
}

// Abort removes what was written, unless Commit came first. An error says that a part is
// left over; a second call does nothing.
func (p *Pending) Abort() error {
	if p.done {
		return nil
	}
	p.done = true
	p.Close()
	return errors.Join(p.root.Remove(p.part), p.release())
}

func (p *Pending) release() error {
	if !p.own {
		return nil
	}
	return p.root.Close()
}

// WriteFile writes a file whole or not at all. A link at path is replaced, what it names
// is left alone. content is the file's bytes, empty for an empty file. After an error
// what lay there before is still there.
func WriteFile(path string, content []byte) error {
	return writeWhole(path, content, (*Pending).Commit)
}

// WriteUnsynced is WriteFile for what can be made again and carries a checksum: it does
// not wait for the disk, so that after a power failure the file may be short or empty.
func WriteUnsynced(path string, content []byte) error {
	return writeWhole(path, content, (*Pending).giveName)
}

func writeWhole(path string, content []byte, end func(*Pending) error) error {
	p, err := Create(path)
	if err != nil {
		return err
	}
	return p.whole(content, end)
}

// WriteIn writes a file below root as WriteUnsynced does, with the folders that are missing.
// A folder on the way that is a link out of root is an error. content is the file's
// bytes; after an error what lay there before is still there.
func WriteIn(root *os.Root, name string, content []byte) error {
	if err := root.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	p, err := create(root, name)
	if err != nil {
		return err
	}
	return p.whole(content, (*Pending).giveName)
}

func (p *Pending) whole(content []byte, end func(*Pending) error) error {
	if _, err := p.Write(content); err != nil {
		return errors.Join(err, p.Abort())
	}
	return end(p)
}

// Collect removes from a folder what programs left that were killed while they wrote
// there, and reports how many files that were. The caller sees to it that nobody writes
// there now. A folder that is not there holds none. A file that cannot be removed is an
// error, and the others are removed all the same.
func Collect(dir string) (int, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	n := 0
	for _, e := range entries {
		name := e.Name()
		if !e.Type().IsRegular() || !strings.HasPrefix(name, pendingPrefix) || !strings.HasSuffix(name, pendingSuffix) {
			continue
		}
		if gone := os.Remove(filepath.Join(dir, name)); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
			err = errors.Join(err, gone)
			continue
		}
		n++
	}
	return n, err
}
