package resultdir

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
)

// lockFile is held by the program that writes below results/.
const lockFile = ".lock"

// sessionFile is held by the session that records the study.
const sessionFile = ".session"

// Lock lets one program at a time write the results of a study: of two
// runs the later begins after the earlier has ended, and so sees the study as it
// is then. It waits until ctx ends; waiting hears that it has to and may be nil.
// The lock is advisory and ends with the process, however that ends; a file
// system that knows no locks is worked on without.
func Lock(ctx context.Context, dir string, waiting func()) (release func(), err error) {
	lock, err := lockAt(dir, lockFile)
	if err != nil {
		return nil, err
	}
	got, err := lock.TryLock()
	if err == nil && !got {
		if waiting != nil {
			waiting()
		}
		_, err = lock.TryLockContext(ctx, 200*time.Millisecond)
	}
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return func() {}, nil
	case err != nil:
		return nil, fmt.Errorf("%s: another run of this study has not ended: %w", lock.Path(), err)
	}
	return func() { _ = lock.Unlock() }, nil // the end of the process ends it in any case
}

// Session lets one session at a time record a study: two would play at once, and each
// would take the other's rows for missing. It does not wait; else it is as Lock.
func Session(dir string) (release func(), err error) {
	lock, err := lockAt(dir, sessionFile)
	if err != nil {
		return nil, err
	}
	got, err := lock.TryLock()
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return func() {}, nil
	case err != nil:
		return nil, err
	case !got:
		return nil, fmt.Errorf("%s: another session records this study: end it first (q)", dir)
	}
	return func() { _ = lock.Unlock() }, nil
}

// lockAt is a lock in a study's results, not yet held.
func lockAt(dir, file string) (*flock.Flock, error) {
	root := Root(dir)
	if err := os.MkdirAll(root, 0o777); err != nil {
		return nil, fmt.Errorf("%w; see that you may write in the study's folder", err)
	}
	name := filepath.Join(root, file)
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file: remove it, asworn makes its own", name)
	}
	return flock.New(name), nil
}
