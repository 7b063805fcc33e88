package pipeline

import (
	"bytes"
	"fmt"
	"path/filepath"

	"asworn/capture/study"
	"asworn/report"
)

// What asworn writes into a study folder; all of it can be deleted.
const (
	resultsDir  = "results"
	resultsFile = "results.json"
	PageFile    = "report.html"
	frozenFile  = "frozen.gob"
	cacheDir    = "cache"
)

// resultsRoot is the folder for what is written of a study, or of what one of its
// fixtures sees (study.At).
func resultsRoot(address string) string {
	dir, fixture := study.Split(address)
	return filepath.Join(dir, resultsDir, fixture)
}

// ResultsPath is where a result of that name lies, for what one fixture sees as well.
func ResultsPath(address, name string) string {
	return filepath.Join(resultsRoot(address), name)
}

// folderOf is the study's folder.
func folderOf(address string) string {
	dir, _ := study.Split(address)
	return dir
}

// maxResults is the largest results.json and frozen.gob that is read back, in bytes:
// a hundred times those of a study of two hundred recordings.
const maxResults = 1 << 30

// LastResults reads what the last run of the study in dir found.
func LastResults(dir string) (report.Results, error) {
	raw, err := readBack(dir, resultsFile, maxResults)
	if err != nil {
		return report.Results{}, err
	}
	r, err := report.ReadJSON(bytes.NewReader(raw))
	if err != nil {
		return report.Results{}, fmt.Errorf("%s: %w", filepath.Join(resultsRoot(dir), resultsFile), err)
	}
	return r, nil
}
