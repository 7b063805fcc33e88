package pipeline

import (
	"context"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/resultdir"
	"asworn/cmd/internal/studydir"
	"asworn/fitcorr"
	"asworn/report"
)

// Watch keeps the results of a study fresh while recordings land in its folder.
type Watch struct {
	dir   string
	model string // of recordings that are in no row of the sheet
	opt   Options
	told  func(error) // hears of every error; may be nil

	judge *Judge // of the study as it is; nil when it has to be opened anew

	mu     sync.Mutex
	r      report.Results
	last   string
	err    error
	extras []report.Results // of recordings outside the sheet, in the order of landing
	new    string           // the recording that arrives or is being judged, and since when
	rows   []capture.Seating
	left   []capture.Seating // rows that are not recorded yet
}

// NewWatch returns a watch of the study in dir; Follow starts it.
func NewWatch(dir, model string, opt Options, told func(error)) *Watch {
	opt.Partial = true
	return &Watch{dir: dir, model: model, opt: opt, told: told}
}

// Latest returns the results as they are now and the file of the recording
// that came last. It answers from memory.
func (w *Watch) Latest() (report.Results, string, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.r, w.last, w.err
}

// Judging names the recording that arrives or is being judged now, and since
// when; empty when there is none.
func (w *Watch) Judging() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.new
}

// Left returns the rows that are not recorded yet, in the order of the sheet, and
// how many rows there are.
func (w *Watch) Left() (rows []capture.Seating, of int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.left, len(w.rows) + len(w.left)
}

// judging says what is being judged; nothing clears it.
func (w *Watch) judging(file string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case file == "":
		w.new = ""
	case !strings.HasPrefix(w.new, file+", "):
		w.new = file + ", " + time.Now().Format("15:04:05")
	}
}

// Follow runs the study and then again whenever something in its folder has
// changed and settled, looking every interval, until ctx ends.
func (w *Watch) Follow(ctx context.Context, interval time.Duration) {
	seen := w.look()
	w.judging("the study so far")
	w.run(ctx)
	w.judging("")
	acted := seen
	tick := time.NewTicker(interval)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := w.look()
		w.judging(arriving(acted, now))
		// A file that still grows is left alone until two looks agree.
		if slices.Equal(now, seen) && !slices.Equal(now, acted) {
			w.act(ctx, acted, now)
			acted = now
			w.judging("")
		}
		seen = now
	}
}

// arriving is a recording that is new or changed since the last time that
// something was done about it.
func arriving(acted, now []glimpse) string {
	for _, g := range now {
		if !written(g.name) && g.name != studydir.SweepFile && !slices.Contains(acted, g) {
			return g.name
		}
	}
	return ""
}

// glimpse is what a look at the folder sees of one file.
type glimpse struct {
	name string // under the study folder, with slashes
	size int64
	time int64
}

// look lists study.toml, the sheet and every WAV file outside results and
// calibration, in lexical order.
func (w *Watch) look() (out []glimpse) {
	// What cannot be read now will be seen at the next look.
	_ = filepath.WalkDir(resultdir.StudyFolder(w.dir), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return nil
		}
		rel, err := filepath.Rel(resultdir.StudyFolder(w.dir), path)
		if err != nil {
			return nil
		}
		name := filepath.ToSlash(rel)
		if d.IsDir() {
			if name == resultdir.Dir || name == studydir.RetakesDir || name == "calibration" {
				return fs.SkipDir
			}
			return nil
		}
		if !written(name) && !strings.EqualFold(filepath.Ext(name), ".wav") {
			return nil
		}
		if info, err := d.Info(); err == nil {
			out = append(out, glimpse{name, info.Size(), info.ModTime().UnixNano()})
		}
		return nil
	})
	return out
}

// written reports whether a file is one that a person writes.
func written(name string) bool {
	return name == capture.StudyFile || name == capture.SheetFile || name == study.ReadingsFile
}

// act judges what is new at once, with its findings, and then runs the study
// when one of its own files changed.
func (w *Watch) act(ctx context.Context, before, now []glimpse) {
	st, err := study.LoadPartial(w.dir)
	if err != nil {
		w.show(nil, "", err)
		return
	}
	w.rowsOf(st)
	own := false
	for _, g := range now {
		if slices.Contains(before, g) {
			continue
		}
		if written(g.name) {
			own, w.judge = true, nil
		}
	}
	for _, g := range now {
		if slices.Contains(before, g) || written(g.name) || g.name == st.Excitation || g.name == studydir.SweepFile {
			continue
		}
		w.judging(g.name)
		row := slices.IndexFunc(st.Seatings, func(s capture.Seating) bool { return s.File == g.name })
		if row >= 0 {
			own = true
			w.assess(ctx, g.name, &st.Seatings[row])
			continue
		}
		w.assess(ctx, g.name, nil)
	}
	if own || len(now) < len(before) {
		w.judging("")
		w.run(ctx)
	}
}

// Rows takes down which rows there are.
func (w *Watch) rowsOf(st *capture.Study) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.rows, w.left = st.Seatings, st.NotRecorded
}

// run does the whole study and shows its results.
func (w *Watch) run(ctx context.Context) {
	r, _, err := Run(ctx, w.dir, w.opt)
	if err != nil {
		if ctx.Err() == nil {
			w.show(nil, "", err)
		}
		return
	}
	w.mu.Lock()
	// A row of the sheet takes the place of what was only checked before.
	w.extras = slices.DeleteFunc(w.extras, func(x report.Results) bool {
		return slices.ContainsFunc(r.Recordings, func(rec report.Recording) bool { return rec.File == x.Recordings[0].File })
	})
	for _, x := range w.extras {
		r = merge(r, x)
	}
	w.mu.Unlock()
	w.show(&r, "", nil)
	if st, err := study.LoadPartial(w.dir); err == nil {
		w.rowsOf(st)
	}
	// Opened before the next recording comes, so that its verdict need not wait.
	if w.judge, err = OpenJudge(ctx, w.dir, w.opt); err != nil && ctx.Err() == nil {
		w.show(nil, "", err)
	}
}

// assess judges one recording and shows it among the results: that of a row, or
// of none.
func (w *Watch) assess(ctx context.Context, name string, row *capture.Seating) {
	x, err := func() (Judgement, error) {
		if w.judge == nil {
			var err error
			if w.judge, err = OpenJudge(ctx, w.dir, w.opt); err != nil {
				return Judgement{}, err
			}
		}
		if row == nil {
			s, err := w.judge.Fixture(w.model, name)
			if err != nil {
				return Judgement{}, err
			}
			row = &s
		}
		return w.judge.Judge(ctx, *row)
	}()
	if err != nil {
		if ctx.Err() == nil {
			w.show(nil, "", err)
		}
		return
	}
	w.mu.Lock()
	w.extras = slices.DeleteFunc(w.extras, func(e report.Results) bool { return e.Recordings[0].File == name })
	w.extras = append(w.extras, x.Results)
	r := merge(w.r, x.Results)
	w.mu.Unlock()
	w.show(&r, name, nil)
}

// show changes what Latest returns; a nil r and an empty last leave it as it is.
func (w *Watch) show(r *report.Results, last string, err error) {
	w.mu.Lock()
	if r != nil {
		w.r = *r
	}
	if last != "" {
		w.last = last
	}
	w.err = err
	w.mu.Unlock()
	if err != nil && w.told != nil {
		w.told(err)
	}
}

// merge returns r with the one recording of x, in place of an earlier one of
// the same file. Neither argument is changed.
func merge(r, x report.Results) report.Results {
	file := x.Recordings[0].File
	r.Recordings = slices.DeleteFunc(slices.Clone(r.Recordings), func(rec report.Recording) bool { return rec.File == file })
	r.Recordings = append(r.Recordings, x.Recordings[0])
	r.Analysis.Models = slices.Clone(r.Analysis.Models)
	for _, add := range x.Analysis.Models {
		at := slices.IndexFunc(r.Analysis.Models, func(m fitcorr.ModelAnalysis) bool { return m.Model == add.Model })
		if at < 0 {
			r.Analysis.Models = append(r.Analysis.Models, add)
			continue
		}
		m := &r.Analysis.Models[at]
		m.Verdicts = slices.DeleteFunc(slices.Clone(m.Verdicts), func(v fitcorr.Verdict) bool { return v.ID == file })
		m.Verdicts = append(m.Verdicts, add.Verdicts...)
		m.Offsets = slices.DeleteFunc(slices.Clone(m.Offsets), func(o fitcorr.Offset) bool { return o.ID == file })
		m.Offsets = append(m.Offsets, add.Offsets...)
	}
	return r
}
