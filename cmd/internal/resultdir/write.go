package resultdir

import (
	"bytes"
	"io"
	"os"
	"path/filepath"

	"asworn/capture/disk"
)

// WriteFile writes a file whole or not at all. Folders that are missing are made.
func WriteFile(name string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	return disk.WriteFile(name, content)
}

// Render writes what f produces to a file, whole or not at all.
func Render(name string, f func(io.Writer) error) error {
	var b bytes.Buffer
	if err := f(&b); err != nil {
		return err
	}
	return WriteFile(name, b.Bytes())
}
