package pipeline

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/sync/errgroup"

	"asworn/capture/disk"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/respond"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr"
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

// WriteReport writes tables, plots and the page of the last results of the
// study in dir and returns the path of the page. Plots that are there already are
// left as they are.
func WriteReport(ctx context.Context, dir string, opt ReportOptions) (string, error) {
	if _, err := resultdir.Last(dir); err != nil { // before anything is made below it
		return "", err
	}
	release, err := resultdir.Lock(ctx, dir, nil)
	if err != nil {
		return "", err
	}
	defer release()
	r, err := resultdir.Last(dir) // of the run that may have ended meanwhile
	if err != nil {
		return "", err
	}
	program, err := cache.ProgramKey()
	if err != nil {
		return "", err
	}
	v := view.New(r)
	plots, err := resultdir.OwnFolder(dir, plotsDir)
	if err != nil {
		return "", err
	}
	opt.Plots.Maker = hex.EncodeToString(program[:])
	var files []resultdir.File
	var both errgroup.Group
	both.Go(func() (err error) {
		_, err = plot.Write(plots, v.Figures(), opt.Plots)
		return err
	})
	both.Go(func() (err error) {
		files, err = pages(v)
		return err
	})
	if err := both.Wait(); err != nil {
		return "", err
	}
	root, err := os.OpenRoot(resultdir.Root(dir))
	if err != nil {
		return "", err
	}
	defer root.Close()
	before := resultdir.ReadSums(filepath.Join(root.Name(), resultdir.SumsFile))
	for _, f := range files {
		if sums := before.Of[f.Name]; len(sums) != 1 || sums[0] != sha256.Sum256(f.Content) {
			before.Key = cache.Key{} // by another program: the next run writes its own
		}
	}
	return filepath.Join(root.Name(), resultdir.PageFile), resultdir.Exchange(root, before.Key, files, resultdir.ResultsFile, resultdir.FrozenFile, resultdir.PanelFile)
}

// pages are the files for people: every table as CSV, all of them as one
// Markdown page, every curve as text, and the page.
func pages(v *view.View) ([]resultdir.File, error) {
	var tables, curves []resultdir.File
	var markdown, html bytes.Buffer
	var both errgroup.Group // the page takes about as long as all else
	both.Go(func() error { return page.Write(&html, v) })
	both.Go(func() error {
		for _, t := range v.Tables().All() {
			var csv bytes.Buffer
			if err := t.WriteCSV(&csv); err != nil {
				return err
			}
			tables = append(tables, resultdir.File{Name: "tables/" + t.Name + ".csv", Content: csv.Bytes()})
			if err := t.WriteMarkdown(&markdown); err != nil {
				return err
			}
		}
		for _, c := range v.Curves() {
			var csv bytes.Buffer
			if err := c.Write(&csv); err != nil {
				return err
			}
			curves = append(curves, resultdir.File{Name: resultdir.CurvesDir + "/" + c.Name + ".csv", Content: csv.Bytes()})
		}
		return nil
	})
	if err := both.Wait(); err != nil {
		return nil, err
	}
	return append(slices.Concat(tables, curves), resultdir.File{Name: "tables.md", Content: markdown.Bytes()}, resultdir.File{Name: resultdir.PageFile, Content: html.Bytes()}), nil
}

// outputsKey names all that a run writes by what it follows from: what the study
// says, the estimates, and the comparison of the recordings, whose own keys hold the
// responses and their rows.
func (u *run) outputsKey(head report.Results, estimates cache.Key) (cache.Key, error) {
	var said bytes.Buffer
	if err := report.WriteJSON(&said, head); err != nil {
		return cache.Key{}, err
	}
	return cache.KeyOf("outputs", u.program, u.texts, said.Bytes(), estimates, u.comparison)
}

// finish leaves results r, whose head is what is said of the study alone: the estimates and the whole run
// for the next one, and all files under results/. What nothing refers to any more leaves the cache.
func (u *run) finish(head, r report.Results, e estimates) error {
	var both errgroup.Group
	both.Go(e.keep)
	ending, err := u.leave(head, r, e)
	if err := cmp.Or(both.Wait(), err); err != nil {
		return err
	}
	u.counts.Damaged = len(u.written().changed) + u.responses.Damaged() + u.estimates.Damaged()
	return u.prune(append(e.Parts, e.key, u.comparison, ending))
}

// leave is finish without the estimates: the key under which the run is kept, and all files, unless they
// lie there already under the same key.
func (u *run) leave(head, r report.Results, e estimates) (cache.Key, error) {
	key, err := u.outputsKey(head, e.key)
	if err != nil {
		return cache.Key{}, err
	}
	ending, err := u.keep(u.inputs, ended{r, keysOf(u.recorded), e.key, key, u.counts.Refused, u.counts.PanelChanged})
	if err != nil {
		return cache.Key{}, err
	}
	if before := u.written(); before.list.Key != key || len(before.changed) > 0 {
		err = u.write(key, head, r, e.Frozen)
	}
	return ending, err
}

// write writes everything that a run leaves under results/, named by key.
func (u *run) write(key cache.Key, head, r report.Results, fit fitcorr.Frozen) error {
	known, err := panelfile.Of(u.study, r, u.readings, contentsOf(u.recorded))
	if err != nil {
		return err
	}
	root, err := os.OpenRoot(resultdir.Root(u.dir))
	if err != nil {
		return err
	}
	defer root.Close()
	rows := u.study.Seatings
	f := frozen{Texts: u.texts, About: head, Setup: u.setup, Models: frozenModels(rows), Rows: rows, Traits: u.traits, Fit: fit}
	var content bytes.Buffer
	var files []resultdir.File
	var kept []byte
	var both errgroup.Group
	both.Go(func() (err error) {
		files, err = pages(view.New(r))
		return err
	})
	both.Go(func() (err error) {
		if err = report.WriteJSON(&content, r); err == nil {
			kept, err = f.seal(u.program)
		}
		return err
	})
	if err := both.Wait(); err != nil {
		return err
	}
	return resultdir.Exchange(root, key, append(files,
		resultdir.File{Name: resultdir.ResultsFile, Content: content.Bytes()},
		resultdir.File{Name: resultdir.FrozenFile, Content: kept},
		resultdir.File{Name: resultdir.PanelFile, Content: known}))
}

// prune keeps in the cache the responses, their impulse responses and the estimates named.
func (u *run) prune(estimates []cache.Key) error {
	used := map[cache.Key]bool{}
	for _, k := range slices.Concat(keysOf(u.recorded), estimates) {
		used[k] = true
	}
	for _, k := range keysOf(u.recorded) {
		impulses, err := respond.ImpulsesKey(k)
		if err != nil {
			return err
		}
		used[impulses] = true
	}
	keep := func(k cache.Key) bool { return used[k] }
	if _, err := u.responses.Prune(keep); err != nil {
		return err
	}
	_, err := u.estimates.Prune(keep)
	return err
}

// collect removes what runs left that were killed while they wrote. The caller
// holds the lock.
func collect(dir string) error {
	root := resultdir.Root(dir)
	for _, sub := range []string{".", "tables", resultdir.CurvesDir, plotsDir, exportsDir + "/filters", exportsDir + "/impulses", exportsDir + "/aes69",
		resultdir.CacheDir, resultdir.CacheDir + "/responses", resultdir.CacheDir + "/estimates"} {
		if _, err := disk.Collect(filepath.Join(root, filepath.FromSlash(sub))); err != nil {
			return err
		}
	}
	return nil
}
