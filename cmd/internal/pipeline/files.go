package pipeline

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"asworn/report"
)

// What asworn writes into a study folder; all of it can be deleted.
const (
	ResultsDir  = "results"
	resultsFile = "results.json"
	pageFile    = "report.html"
	frozenFile  = "frozen.gob"
	cacheDir    = "cache"
)

// LastResults reads what the last run of the study in dir found.
func LastResults(dir string) (report.Results, error) {
	name := filepath.Join(dir, ResultsDir, resultsFile)
	raw, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return report.Results{}, fmt.Errorf("%s: no results yet; run 'asworn run %s' first", name, dir)
	}
	if err != nil {
		return report.Results{}, err
	}
	r, err := report.ReadJSON(bytes.NewReader(raw))
	if err != nil {
		return report.Results{}, fmt.Errorf("%s: %w", name, err)
	}
	return r, nil
}
