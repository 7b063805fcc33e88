// Package resultdir is the folder results/ of a study, as whatever writes there must
// treat it: one program at a time, every file whole, a list of what was written, and
// nothing touched that somebody else put there or changed. It does not know how
// results come about.
package resultdir

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"

	"asworn/capture/study"
	"asworn/report"
)

// What asworn writes into a study folder; all of it can be deleted.
const (
	Dir         = "results"
	ResultsFile = "results.json"
	PageFile    = "report.html"
	CurvesDir   = "curves"
	FrozenFile  = "frozen.gob"
	PanelFile   = "panel.json" // what a run knows of its panel, for later studies
	CacheDir    = "cache"
)

// Root is the folder for what is written of a study, or of what one of its
// fixtures sees (study.At).
func Root(address string) string {
	dir, fixture := study.Split(address)
	return filepath.Join(dir, Dir, fixture)
}

// Path is where a result of that name lies, for what one fixture sees as well.
func Path(address, name string) string {
	return filepath.Join(Root(address), name)
}

// StudyFolder is the study's folder.
func StudyFolder(address string) string {
	dir, _ := study.Split(address)
	return dir
}

// MaxBytes is the largest results.json and frozen.gob that is read back, in bytes:
// a hundred times those of a study of two hundred recordings.
const MaxBytes = 1 << 30

// LastResults reads what the last run of the study in dir found.
func Last(dir string) (report.Results, error) {
	raw, err := ReadBack(dir, ResultsFile, MaxBytes)
	if err != nil {
		return report.Results{}, err
	}
	r, err := report.ReadJSON(bytes.NewReader(raw))
	if err != nil {
		return report.Results{}, fmt.Errorf("%s: %w", filepath.Join(Root(dir), ResultsFile), err)
	}
	return r, nil
}

// OwnFolder makes a folder under results/ for files that asworn writes. A link
// leads into a folder of somebody else.
func OwnFolder(dir, name string) (string, error) {
	path := filepath.Join(Root(dir), name)
	if info, err := os.Lstat(path); err == nil && !info.IsDir() {
		return "", fmt.Errorf("%s is not a folder; asworn writes only into folders of its own: remove it or give it another name", path)
	}
	return path, os.MkdirAll(path, 0o777)
}
