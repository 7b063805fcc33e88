package plot

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture/disk"
	"asworn/report/figure"
)

// stampFile lists, beside the plots, what was drawn.
const stampFile = ".drawn.json"

// stamps are what was drawn, by file name.
type stamps map[string]stamp

type stamp struct {
	Content string `json:"content"` // hash of everything that shapes the file
	Sum     string `json:"sum"`     // hash of the file
}

// content is the hash of what the files of a figure show and how; empty, which equals
// no stamp, where it cannot be told.
func content(f figure.Figure, opt Options) string {
	opt.Formats = nil // the name of each file tells
	b, err := json.Marshal(struct {
		Title  string
		Level  bool // its height is no choice
		Scene  figure.Scene
		Option Options
	}{f.Title, f.Curves != nil && f.Curves.DBPerDecade > 0, f.Scene(), opt})
	if err != nil {
		return ""
	}
	return sumOf(b)
}

// lies reports whether the file is there as it was written.
func (s stamp) lies(dir, name string) bool {
	b, err := disk.ReadFile(filepath.Join(dir, name), maxFile)
	return s.Content != "" && err == nil && sumOf(b) == s.Sum
}

// Files beyond these sizes are not what was drawn, or no list of it.
const (
	maxFile = 256 << 20
	maxList = 16 << 20
)

func sumOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// readStamps gives none where the list is missing or not one: then all is drawn.
func readStamps(dir string) stamps {
	var s stamps
	b, err := disk.ReadFile(filepath.Join(dir, stampFile), maxList)
	if err != nil || json.Unmarshal(b, &s) != nil {
		return nil
	}
	return s
}

// replace writes the list anew, with the files of other formats of the same
// figures, and removes those that were drawn of figures now gone and lie as they
// were drawn.
func (s stamps) replace(dir string, before stamps, figs []figure.Figure) error {
	for name, old := range before {
		ext := filepath.Ext(name)
		switch _, again := s[name]; {
		case again:
		case slices.ContainsFunc(figs, func(f figure.Figure) bool { return f.Name+ext == name }):
			s[name] = old
		case name == filepath.Base(name) && old.lies(dir, name): // in this folder, whatever the list says
			if err := os.Remove(filepath.Join(dir, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	b, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return fmt.Errorf("list of plots: %w", err)
	}
	return disk.WriteUnsynced(filepath.Join(dir, stampFile), b)
}
