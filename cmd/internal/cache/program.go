package cache

import (
	"os"
	"sync"
)

// ProgramKey is the content hash of the running program. It is part of every
// key, so that a new version of any algorithm never reads what an old one
// computed; nobody has to remember to raise a number. Where the program cannot
// be read, nothing is found in the cache.
var ProgramKey = sync.OnceValues(func() (Key, error) {
	name, err := os.Executable()
	if err != nil {
		return Key{}, err
	}
	return FileKey(name)
})
