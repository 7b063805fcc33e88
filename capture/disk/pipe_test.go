//go:build unix

package disk

import (
	"errors"
	"path/filepath"
	"syscall"
	"testing"
)

func TestNamedPipe(t *testing.T) {
	name := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(name, 0o666); err != nil {
		t.Skip(err)
	}
	if _, err := Open(name); !errors.Is(err, ErrNotRegular) {
		t.Errorf("%v", err)
	}
}
