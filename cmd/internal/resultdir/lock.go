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

// Lock lets one program at a time write the results of a study: of two
// runs the later begins after the earlier has ended, and so sees the study as it
// is then. It waits until ctx ends; waiting hears that it has to and may be nil.
// The lock is advisory and ends with the process, however that ends; a file
// system that knows no locks is worked on without.
func Lock(ctx context.Context, dir string, waiting func()) (release func(), err error) {
	root := Root(dir)
	if err := os.MkdirAll(root, 0o777); err != nil {
		return nil, err
	}
	name := filepath.Join(root, lockFile)
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file: remove it, asworn makes its own", name)
	}
	lock := flock.New(name)
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
		return nil, fmt.Errorf("%s: another run of this study has not ended: %w", name, err)
	}
	return func() { _ = lock.Unlock() }, nil // the end of the process ends it in any case
}
