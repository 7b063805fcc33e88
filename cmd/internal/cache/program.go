package cache

import (
	"crypto/sha256"
	"debug/elf"
	"os"
	"sync"
)

// ProgramKey names the running program by its content. It is part of every
// key, so that a new version of any algorithm never reads what an old one
// computed; nobody has to remember to raise a number. Where the program cannot
// be read, nothing is found in the cache.
var ProgramKey = sync.OnceValues(func() (Key, error) {
	name, err := os.Executable()
	if err != nil {
		return Key{}, err
	}
	if id := buildID(name); len(id) > 0 {
		return KeyOf("build id", id)
	}
	return FileKey(name)
})

// buildID is the note in which the go command writes a hash of all that went into a
// program and of what came out (go doc cmd/go, "buildid"): it spares reading tens of
// megabytes at every start. Empty where the file is not ELF or has no such note, as
// after -ldflags=-buildid=.
func buildID(name string) []byte {
	f, err := elf.Open(name)
	if err != nil {
		return nil
	}
	defer f.Close()
	note := f.Section(".note.go.buildid")
	const header = 16 // lengths, type and the owner "Go"
	if note == nil || note.Size <= header+sha256.Size {
		return nil
	}
	b, err := note.Data()
	if err != nil {
		return nil
	}
	return b
}
