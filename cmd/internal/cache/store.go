// Package cache keeps what is dear to compute in a folder, named by a hash of
// everything it depends on, and remembers the content hash of files that have
// not been touched. The folder may be deleted at any time.
package cache

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	"asworn/capture/disk"
)

// Key names a value by all that it depends on.
type Key [sha256.Size]byte

// String returns the key in hexadecimal digits.
func (k Key) String() string { return hex.EncodeToString(k[:]) }

var copyBuffers = sync.Pool{New: func() any { return new([1 << 18]byte) }}

// FileKey hashes the bytes of a file, streaming.
func FileKey(name string) (Key, error) {
	f, err := disk.Open(name)
	if err != nil {
		return Key{}, err
	}
	defer f.Close()
	h := sha256.New()
	b := copyBuffers.Get().(*[1 << 18]byte)
	defer copyBuffers.Put(b)
	if _, err := io.CopyBuffer(h, struct{ io.Reader }{f}, b[:]); err != nil {
		return Key{}, err
	}
	return Key(h.Sum(nil)), nil
}

// A Store is a folder of sealed files named by key. Several goroutines and
// several processes may use it at once: each file appears whole or not at all.
type Store struct {
	dir     string
	damaged *atomic.Int64
}

// Open returns the store in dir, made when it is not there.
func Open(dir string) (Store, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return Store{}, err
	}
	return Store{dir, new(atomic.Int64)}, nil
}

func (s Store) path(k Key) string { return filepath.Join(s.dir, k.String()+".gob") }

// Get reads the value of key into the pointers, in the order in which Put was
// given them; fewer pointers read only the first values. It reports false when
// there is none or when it is not as it was written ([Store.Damaged] counts
// those), for a broken cache file is no more than one to be computed again.
func (s Store) Get(k Key, to ...any) bool {
	err := ReadSealed(s.path(k), k, to...)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.damaged.Add(1)
	}
	return err == nil
}

// Damaged is how many values Get found not to be as they were written.
func (s Store) Damaged() int { return int(s.damaged.Load()) }

// Put keeps the values under key.
func (s Store) Put(k Key, values ...any) error {
	b, err := Seal(k, values...)
	if err != nil {
		return err
	}
	return disk.WriteUnsynced(s.path(k), b)
}

// Prune removes every value whose key keep does not name and reports how many.
func (s Store) Prune(keep func(Key) bool) (int, error) {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return 0, err
	}
	removed := 0
	for _, e := range entries {
		name, isValue := cutGob(e.Name())
		if !isValue {
			continue
		}
		raw, err := hex.DecodeString(name)
		if err != nil || len(raw) != sha256.Size || keep(Key(raw)) {
			continue
		}
		if err := os.Remove(filepath.Join(s.dir, e.Name())); err != nil {
			return removed, err
		}
		removed++
	}
	return removed, nil
}

func cutGob(name string) (string, bool) {
	ext := filepath.Ext(name)
	return name[:len(name)-len(ext)], ext == ".gob"
}

// AsJSON returns a value that is kept as JSON inside a gob file: for types
// that gob cannot take, such as an array with nil pointers, and where nil and
// empty slices must stay apart. v is a pointer.
func AsJSON(v any) any { return &viaJSON{v} }

type viaJSON struct{ v any }

func (j *viaJSON) GobEncode() ([]byte, error) { return json.Marshal(j.v) }

func (j *viaJSON) GobDecode(b []byte) error { return json.Unmarshal(b, j.v) }
