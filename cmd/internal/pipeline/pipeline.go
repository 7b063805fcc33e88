// Package pipeline is the whole line once: study folder, responses, estimates,
// results on disk. It wires capture, fitcorr and report together and keeps
// what is dear to compute (docs/developing/cache.md).
package pipeline

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/respond"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr"
	"asworn/fitcorr/earlier"
	"asworn/fitcorr/reading"
	"asworn/report"
)

// Options are the choices of a run that do not change its results.
type Options struct {
	Jobs     int                   // workers; 0 means all cores
	Progress func(done, total int) // recordings; never called by two goroutines at once; may be nil
	Stage    func(name string)     // told when a stage begins that has no count; may be nil
	Waiting  func()                // told when another run of the study has to end first; may be nil
	Rehash   bool                  // read every file again, whatever its stamp says
	Partial  bool                  // leave out rows whose recording is not there yet
}

func (o Options) stage(name string) {
	if o.Stage != nil {
		o.Stage(name)
	}
}

// Counts says what a run had to do.
type Counts struct {
	Recordings int      `json:"recordings"`
	Missing    int      `json:"missing,omitempty"` // rows not recorded yet, left out with Options.Partial
	Processed  int      `json:"processed"`         // responses computed
	Cached     int      `json:"cached"`            // responses taken from the cache
	Refused    int      `json:"refused"`           // recordings that count in no curve
	Read       int      `json:"read"`              // files whose bytes were read to see whether they changed
	Estimated  bool     `json:"estimated"`         // estimates were computed, not taken from the cache
	Damaged    int      `json:"damaged,omitempty"` // files of earlier runs that were not as written, and made anew
	Changed    []string `json:"changed,omitempty"` // files of recordings that changed since an earlier run
	Strays     []string `json:"strays,omitempty"`  // WAV files that are in no row of the sheet
	Twins      []Twins  `json:"twins,omitempty"`   // recordings that hold the same bytes
	// PanelChanged says that somebody, or the fixture, is not who an earlier study
	// knows; the results' findings say who.
	PanelChanged bool     `json:"panel_changed,omitempty"`
	Doubts       []string `json:"doubts,omitempty"` // what is allowed in the sheet and yet looks like a slip
}

// WithChanges returns the results with a finding at every recording that
// changed since an earlier run. It is for showing alone: what lies on disk does
// not depend on what was run before.
func (c Counts) WithChanges(r report.Results) report.Results {
	if len(c.Changed) == 0 {
		return r
	}
	r.Recordings = slices.Clone(r.Recordings)
	for i, rec := range r.Recordings {
		if slices.Contains(c.Changed, rec.File) {
			r.Recordings[i].Findings = append(slices.Clone(rec.Findings), finding.New(finding.Changed, "the file changed since an earlier run"))
		}
	}
	return r
}

// Run does everything in the study at dir, a folder or what one of its fixtures
// sees (study.At), and writes the results under it. All errors of the study are joined in one; what was finished when ctx
// ends is kept for the next run. Recordings are only read.
func Run(ctx context.Context, dir string, opt Options) (report.Results, Counts, error) {
	var counts Counts
	if _, err := os.Stat(filepath.Join(resultdir.StudyFolder(dir), capture.StudyFile)); err == nil { // else there is no study to lock
		release, err := resultdir.Lock(ctx, dir, opt.Waiting)
		if err != nil {
			return report.Results{}, counts, err
		}
		defer release()
		if err := collect(dir); err != nil {
			return report.Results{}, counts, err
		}
	}
	load := study.Load
	if opt.Partial {
		load = study.LoadPartial
	}
	written := sync.OnceValue(func() lying { return lyingIn(dir) })
	go written()                                     // beside all that has to be read
	texts, _ := textsKey(resultdir.StudyFolder(dir)) // before they are read; what is missing is told by load
	study, err := load(dir)
	if err != nil {
		return report.Results{}, counts, err
	}
	if len(study.Seatings) == 0 {
		return report.Results{}, counts, fmt.Errorf("%s: none of the %d rows is recorded yet", filepath.Join(resultdir.StudyFolder(dir), capture.SheetFile), len(study.NotRecorded))
	}
	counts.Doubts = doubts(study)
	before, err := panelfile.Load(study, dir)
	if err != nil {
		return report.Results{}, counts, err
	}
	program, err := cache.ProgramKey()
	if err != nil {
		return report.Results{}, counts, err
	}
	l, err := openStores(dir, program, opt)
	if err != nil {
		return report.Results{}, counts, err
	}
	if r, counts, ok := l.again(ctx, study, texts, before, written); ok {
		return r, counts, nil
	}
	if err := l.stampFiles(study); err != nil {
		return report.Results{}, counts, err
	}
	read := l.stamps.Read()
	setup, err := study.Setup()
	if err != nil {
		return report.Results{}, counts, err
	}
	if err := l.respondWith(setup); err != nil {
		return report.Results{}, counts, err
	}
	responses, err := l.responder.All(ctx, study.Seatings)
	l.responder.First = nil // what it holds is large, and done with
	err = errors.Join(err, l.stamps.Save())
	counts.Recordings, counts.Missing = len(responses), len(study.NotRecorded)
	counts.Processed, counts.Cached = l.responder.Processed(), l.responder.Cached()
	counts.Read = l.stamps.Read() - read
	if err != nil {
		return report.Results{}, counts, err
	}
	counts.Strays = strays(resultdir.StudyFolder(dir), study)
	if counts.Twins, err = twins(resultdir.StudyFolder(dir), study.Seatings, keysOf(responses), counts.Strays); err != nil {
		return report.Results{}, counts, err
	}
	traits, comparison, err := l.compare(setup, study.Seatings, responses)
	if err != nil {
		return report.Results{}, counts, err
	}
	for i, row := range study.Seatings {
		if l.responder.Changed(i) {
			counts.Changed = append(counts.Changed, row.File)
		}
	}
	asLoaded := *study
	study.Reading = before.Stated(study.Reading)
	readings := combineReadings(study)
	e, err := l.estimate(ctx, study, responses, readings, before)
	if err != nil {
		return report.Results{}, counts, err
	}
	counts.Estimated, counts.PanelChanged = e.fresh, e.taken.Changed
	head, err := about(study, readings)
	if err != nil {
		return report.Results{}, counts, err
	}
	head.Findings = append(head.Findings, e.taken.Findings...)
	r := results(head, study, responses, e.Analysis)
	for _, rec := range r.Recordings {
		if !rec.Usable {
			counts.Refused++
		}
	}
	frozen := freezeOf(head, study, setup, traits, e.Frozen)
	frozen.Texts = texts
	known, err := panelfile.Of(study, r, readings)
	if err != nil {
		return report.Results{}, counts, err
	}
	key, err := l.outputsKey(head, texts, e.key, comparison)
	if err != nil {
		return report.Results{}, counts, err
	}
	ending, err := l.keep(&asLoaded, texts, before, ended{r, keysOf(responses), e.key, key, counts.Refused, counts.PanelChanged})
	if err != nil {
		return report.Results{}, counts, err
	}
	err = l.finish(frozen, known, r, key, written(), responses, append(e.Parts, e.key, comparison, ending)...)
	counts.Damaged = len(written().changed) + l.responses.Damaged() + l.estimates.Damaged()
	return r, counts, err
}

func doubts(study *capture.Study) (out []string) {
	for _, p := range study.Doubts() {
		out = append(out, p.Error())
	}
	return out
}

// line is one run's access to what is kept.
type line struct {
	dir       string
	program   cache.Key
	responses cache.Store
	estimates cache.Store
	stamps    *cache.Stamps
	responder *respond.Responder
	opt       Options
}

// meetTypes makes the files of a run the same whatever was in the cache: gob numbers
// types in the order in which a process first meets them.
func meetTypes() {
	to := gob.NewEncoder(io.Discard)
	for _, v := range []any{frozen{}, capture.Recording{}, compared{}, ended{}} {
		_ = to.Encode(v) // an error tells of the value; its type was met
	}
}

func openLine(dir string, program cache.Key, setup capture.Setup, opt Options) (*line, error) {
	l, err := openStores(dir, program, opt)
	if err != nil {
		return nil, err
	}
	return l, l.respondWith(setup)
}

// openStores opens what is kept; responses come with respondWith.
func openStores(dir string, program cache.Key, opt Options) (*line, error) {
	meetTypes()
	l := &line{dir: dir, program: program, opt: opt}
	root := filepath.Join(resultdir.Root(dir), resultdir.CacheDir)
	var err error
	if l.responses, err = cache.Open(filepath.Join(root, "responses")); err != nil {
		return nil, err
	}
	if l.estimates, err = cache.Open(filepath.Join(root, "estimates")); err != nil {
		return nil, err
	}
	l.stamps = cache.LoadStamps(filepath.Join(root, "stamps.gob"))
	if opt.Rehash {
		l.stamps.Doubt()
	}
	return l, nil
}

// respondWith says how recordings become responses.
func (l *line) respondWith(setup capture.Setup) error {
	key, err := cache.KeyOf(l.program, setup)
	if err != nil {
		return err
	}
	opt := l.opt
	l.responder = &respond.Responder{
		Dir: resultdir.StudyFolder(l.dir), Setup: key, Store: l.responses, Stamps: l.stamps, Jobs: opt.Jobs, Progress: opt.Progress,
		First: sync.OnceValues(func() (*capture.Processor, error) {
			p, err := capture.NewProcessor(setup)
			if err == nil && opt.Jobs > 0 {
				p.SetWorkers(opt.Jobs)
			}
			return p, err
		}),
	}
	return nil
}

// estimates is what is kept of an analysis.
type estimates struct {
	Analysis fitcorr.Analysis
	Frozen   fitcorr.Frozen
	Parts    []cache.Key // of what it was put together from
	key      cache.Key
	fresh    bool          // computed now
	taken    earlier.Taken // from earlier studies
}

// estimate analyses the usable responses, or finds that it was done before.
func (l *line) estimate(ctx context.Context, study *capture.Study, responses []respond.Response, readings reading.Result, before panelfile.Earlier) (estimates, error) {
	opt := fitOptions(study, readings, l.opt.Jobs)
	var seatings []fitcorr.Seating
	var keys []cache.Key
	for i, row := range study.Seatings {
		if rec := responses[i].Recording; rec.Quality.Usable() {
			seatings = append(seatings, fitSeating(row, rec))
			keys = append(keys, responses[i].Key)
		}
	}
	placeReadings(seatings, readings)
	taken := earlier.Take(seatings, study.Readings, readings, study.Reading, before.Panels, study.Limits.Confidence)
	seatings, opt.Reading = taken.Seatings, taken.Reading
	keyed := opt
	keyed.Jobs = 0 // does not change the results
	key, err := cache.KeyOf("estimates", l.program, keyed, rowsOf(seatings), keys, before.Sums)
	if err != nil {
		return estimates{}, err
	}
	e := estimates{key: key, taken: taken}
	if l.estimates.Get(key, cache.AsJSON(&e.Analysis), &e.Frozen, &e.Parts) {
		return e, nil
	}
	e.fresh = true
	l.opt.stage("estimating positions")
	parts := &parts{line: l}
	err = respond.Guard(func() error {
		e.Analysis, e.Frozen, err = fitcorr.AnalyseWith(ctx, seatings, opt, parts)
		return err
	})
	if err != nil {
		return e, err
	}
	e.Parts = parts.used()
	return e, l.estimates.Put(key, cache.AsJSON(&e.Analysis), &e.Frozen, e.Parts)
}
