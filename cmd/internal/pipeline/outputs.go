package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"asworn/cmd/internal/cache"
	"asworn/report"
	"asworn/report/page"
	"asworn/report/plot"
	"asworn/report/view"
)

// plotsDir holds the plot files, under results/.
const plotsDir = "plots"

// ReportOptions shape what is written for people.
type ReportOptions struct {
	Plots plot.Options
}

// WriteReport writes tables, plots and the page of results under the study
// folder dir and returns the path of the page. Plots that are there already are
// left as they are.
func WriteReport(dir string, r report.Results, opt ReportOptions) (string, error) {
	program, err := programKey()
	if err != nil {
		return "", err
	}
	v := view.New(r)
	opt.Plots.Maker = hex.EncodeToString(program[:])
	if _, err := plot.Write(filepath.Join(dir, ResultsDir, plotsDir), v.Figures(), opt.Plots); err != nil {
		return "", err
	}
	return writePage(dir, v)
}

// writePage writes tables and page, which is all that a run writes for people.
func writePage(dir string, v *view.View) (string, error) {
	out := filepath.Join(dir, ResultsDir)
	if err := writeTables(out, v.Tables().All()); err != nil {
		return "", err
	}
	name := filepath.Join(out, pageFile)
	return name, render(name, func(w io.Writer) error { return page.Write(w, v) })
}

// finish writes everything that a run leaves under results/, unless it lies
// there already, and removes from the cache what nothing refers to any more.
func (l *line) finish(f frozen, r report.Results, estimates cache.Key, responses []response) error {
	var content bytes.Buffer
	if err := report.WriteJSON(&content, r); err != nil {
		return err
	}
	var err error
	if f.Texts, err = textsKey(l.dir); err != nil {
		return err
	}
	key, err := cache.KeyOf("outputs", l.program, f.Texts, sha256.Sum256(content.Bytes()))
	if err != nil {
		return err
	}
	if !l.lies(key) {
		if err := writeFile(filepath.Join(l.dir, ResultsDir, resultsFile), content.Bytes()); err != nil {
			return err
		}
		if err := f.write(l.dir); err != nil {
			return err
		}
		if _, err := writePage(l.dir, view.New(r)); err != nil {
			return err
		}
		if err := l.lay(key); err != nil {
			return err
		}
	}
	used := map[cache.Key]bool{estimates: true}
	for _, r := range responses {
		used[r.Key] = true
	}
	keep := func(k cache.Key) bool { return used[k] }
	_, err = l.responses.Prune(keep)
	if err == nil {
		_, err = l.estimates.Prune(keep)
	}
	return err
}

// outputs is the list of what a run wrote, by which a later one sees whether
// it has to write again.
type outputs struct {
	Key   cache.Key
	Sizes []fileSize
}

type fileSize struct {
	Name string // under the study folder
	Size int64
}

func (l *line) outputsFile() string { return filepath.Join(l.dir, ResultsDir, cacheDir, "outputs.gob") }

// notOfRun are the folders under results/ that hold no outputs of a run.
var notOfRun = []string{cacheDir, plotsDir, exportsDir}

// list returns every output of a run under results/, in lexical order.
func (l *line) list() (out []fileSize, err error) {
	root := filepath.Join(l.dir, ResultsDir)
	err = filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && slices.Contains(notOfRun, d.Name()) && filepath.Dir(name) == root:
			return fs.SkipDir
		case d.IsDir():
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(l.dir, name)
		out = append(out, fileSize{rel, info.Size()})
		return err
	})
	return out, err
}

// lies reports whether the outputs named by key lie complete under results/;
// other files beside them do not matter.
func (l *line) lies(key cache.Key) bool {
	var o outputs
	raw, err := os.ReadFile(l.outputsFile())
	if err != nil || gob.NewDecoder(bytes.NewReader(raw)).Decode(&o) != nil || o.Key != key {
		return false
	}
	for _, f := range o.Sizes {
		if info, err := os.Stat(filepath.Join(l.dir, f.Name)); err != nil || info.Size() != f.Size {
			return false
		}
	}
	return true
}

// lay notes that the outputs named by key are complete.
func (l *line) lay(key cache.Key) error {
	o := outputs{Key: key}
	var err error
	if o.Sizes, err = l.list(); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(o); err != nil {
		return err
	}
	return writeFile(l.outputsFile(), b.Bytes())
}
