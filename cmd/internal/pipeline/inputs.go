package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/resultdir"
)

// inputs are what a run follows from beside the recordings, and what the last one left.
type inputs struct {
	study   *capture.Study    // with the uncertainty of readings that earlier studies found
	texts   cache.Key         // of the files that a person wrote
	before  panelfile.Earlier // what earlier studies know of the panel
	written func() lying
}

// load reads the inputs of the study at an address, without what is not recorded where partial says so.
func load(dir string, partial bool) (inputs, error) {
	in := inputs{written: sync.OnceValue(func() lying { return lyingIn(dir) })}
	go in.written()                                    // beside all that has to be read
	in.texts, _ = textsKey(resultdir.StudyFolder(dir)) // before they are read; what is missing is told by read
	read := study.Load
	if partial {
		read = study.LoadPartial
	}
	var err error
	if in.study, err = read(dir); err != nil {
		return in, err
	}
	if len(in.study.Seatings) == 0 {
		return in, fmt.Errorf("%s: none of the %d rows is recorded yet", filepath.Join(in.study.Dir, capture.SheetFile), len(in.study.NotRecorded))
	}
	in.before, err = panelfile.Load(in.study, dir)
	in.study.Reading = in.before.Stated(in.study.Reading)
	return in, err
}

// textsKey hashes what a person wrote: study.toml, seatings.csv and readings.csv, if there is one.
func textsKey(dir string) (cache.Key, error) {
	toml, err := cache.FileKey(filepath.Join(dir, capture.StudyFile))
	if err != nil {
		return cache.Key{}, err
	}
	sheet, err := cache.FileKey(filepath.Join(dir, capture.SheetFile))
	if err != nil {
		return cache.Key{}, err
	}
	readings, err := cache.FileKey(filepath.Join(dir, study.ReadingsFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return cache.Key{}, err
	}
	return cache.KeyOf(toml, sheet, readings)
}

// lying is what an earlier run wrote and left of it.
type lying struct {
	list    resultdir.Sums
	changed []string // of it, what is not as it was written
}

func lyingIn(dir string) (out lying) {
	out.list = resultdir.ReadSums(resultdir.Path(dir, resultdir.SumsFile))
	root, err := os.OpenRoot(resultdir.Root(dir))
	if err != nil {
		return out // nothing lies there
	}
	defer root.Close()
	out.changed = out.list.Changed(root)
	return out
}
