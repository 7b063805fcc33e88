// Package pipeline is the whole line once: study folder, responses, estimates,
// results on disk. It wires capture, fitcorr and report together and keeps
// what is dear to compute (docs/developing/cache.md).
package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/convert"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/resultdir"
	"asworn/cmd/internal/studydir"
	"asworn/report"
)

// Run does everything in the study at dir, a folder or what one of its fixtures
// sees (study.At), and writes the results under it. All errors of the study are
// joined in one; what was finished when ctx ends is kept for the next run. Recordings
// are only read.
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
	if err := l.apart(study, before); err != nil {
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
	counts.Strays = studydir.Strays(resultdir.StudyFolder(dir), study)
	if counts.Twins, err = studydir.FindTwins(resultdir.StudyFolder(dir), study.Seatings, keysOf(responses), counts.Strays); err != nil {
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
	readings := convert.Readings(study)
	e, err := l.estimate(ctx, study, responses, readings, before)
	if err != nil {
		return report.Results{}, counts, err
	}
	counts.Estimated, counts.PanelChanged = e.fresh, len(e.taken.Changes) > 0
	head, err := convert.About(study, readings)
	if err != nil {
		return report.Results{}, counts, err
	}
	head.Findings = append(head.Findings, e.taken.Findings...)
	head.PanelChanges = e.taken.Changes
	r := convert.Results(head, study, responses, e.Analysis)
	for _, rec := range r.Recordings {
		if !rec.Usable {
			counts.Refused++
		}
	}
	frozen := freezeOf(head, study, setup, traits, e.Frozen)
	frozen.Texts = texts
	known, err := panelfile.Of(study, r, readings, contentsOf(responses))
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
