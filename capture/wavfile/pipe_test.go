//go:build unix

package wavfile

import (
	"errors"
	"path/filepath"
	"syscall"
	"testing"
)

// A named pipe nobody writes to is refused at once; so are a device and a folder.
func TestNotRegular(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe.wav")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no named pipes here: ", err)
	}
	for _, path := range []string{pipe, "/dev/null", t.TempDir()} {
		if _, err := Open(path); !errors.Is(err, ErrNotWAV) {
			t.Errorf("%s: %v, want %v", path, err, ErrNotWAV)
		}
	}
}
