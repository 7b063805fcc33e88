package cache

import (
	"crypto/sha256"
	"os"
	"sync"
	"time"

	"asworn/capture/disk"
)

// settled is how much older than the last look a file's time of change must be
// for its stamp to be trusted: a second write within the resolution of the
// file system's clock would leave the same stamp. Two seconds is the coarsest
// resolution in use (FAT).
const settled = 2 * time.Second

// stamp is what the file system says about a file's content without reading it.
type stamp struct {
	Size    int64
	Mtime   int64 // ns
	Changed int64 // ns, inode change time where the system has one; no program can set it back
	Inode   uint64
}

type entry struct {
	Stamp stamp
	Seen  int64 // ns, when the content was read
	Key   Key
}

// Stamps remembers the content hash of files by name, so that a file is read
// again only when its size, times or inode say that it may have changed.
type Stamps struct {
	file    string
	mu      sync.Mutex
	entries map[string]entry
	dirty   bool
	read    int
}

// stampsKey seals the index. It is not bound to a folder: the times and the inode
// of each file are, and a study that was moved is told what changed as before.
var stampsKey = Key(sha256.Sum256([]byte("stamps")))

// LoadStamps reads the index in file; a missing or broken one is empty.
func LoadStamps(file string) *Stamps {
	s := &Stamps{file: file}
	if ReadSealed(file, stampsKey, &s.entries) != nil || s.entries == nil {
		s.entries = map[string]entry{}
	}
	return s
}

// Key returns the content hash of a file that is called name in the index and
// lies at path. It reports whether an earlier look saw other content.
func (s *Stamps) Key(name, path string) (k Key, changed bool, err error) {
	now := time.Now()
	info, err := os.Stat(path)
	if err != nil {
		return Key{}, false, err
	}
	st := stampOf(info)
	s.mu.Lock()
	old, known := s.entries[name]
	s.mu.Unlock()
	if known && old.is(st) {
		return old.Key, false, nil
	}
	k, err = FileKey(path)
	if err != nil {
		return Key{}, false, err
	}
	s.mu.Lock()
	s.entries[name] = entry{st, now.UnixNano(), k}
	s.dirty, s.read = true, s.read+1
	s.mu.Unlock()
	return k, known && old.Key != k, nil
}

// Known is Key without reading: it reports false for a file that Key would read.
func (s *Stamps) Known(name, path string) (Key, bool) {
	info, err := os.Stat(path)
	if err != nil {
		return Key{}, false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	e, known := s.entries[name]
	return e.Key, known && e.is(stampOf(info))
}

// is reports whether a file that looks so now surely holds what was read.
func (e entry) is(st stamp) bool {
	return e.Stamp == st && e.Seen-max(st.Mtime, st.Changed) > int64(settled)
}

// Doubt makes every file be read again. Later content is still compared with
// what was seen before.
func (s *Stamps) Doubt() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for name, e := range s.entries {
		e.Seen = 0
		s.entries[name] = e
	}
}

// Read is the number of files whose bytes had to be read since LoadStamps.
func (s *Stamps) Read() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.read
}

// Save writes the index when anything in it changed.
func (s *Stamps) Save() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.dirty {
		return nil
	}
	b, err := Seal(stampsKey, s.entries)
	if err != nil {
		return err
	}
	if err := disk.WriteUnsynced(s.file, b); err != nil {
		return err
	}
	s.dirty = false
	return nil
}
