// Package pipeline is the whole line once: study folder, responses, estimates,
// results on disk. It wires capture, fitcorr and report together and keeps
// what is dear to compute (docs/developing/cache.md).
package pipeline

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"asworn/capture"
	"asworn/cmd/internal/convert"
	"asworn/cmd/internal/resultdir"
	"asworn/report"
)

// Run does everything in the study at dir, a folder or what one of its fixtures
// sees (study.At), and writes the results under it. All errors of the study are
// joined in one; what was finished when ctx ends is kept for the next run. Recordings
// are only read. Counts mean nothing beside an error.
func Run(ctx context.Context, dir string, opt Options) (report.Results, Counts, error) {
	release, err := hold(ctx, dir, opt.Waiting)
	if err != nil {
		return report.Results{}, Counts{}, err
	}
	defer release()
	in, err := load(dir, opt.Partial)
	if err != nil {
		return report.Results{}, Counts{}, err
	}
	l, err := openStores(dir, opt)
	if err != nil {
		return report.Results{}, Counts{}, err
	}
	if r, counts, ok := l.again(ctx, in); ok {
		return r, counts, nil
	}
	u := run{line: l, inputs: in}
	r, err := u.anew(ctx)
	return r, u.counts, err
}

// hold keeps other programs from the study's results, and removes what killed ones
// left there.
func hold(ctx context.Context, dir string, waiting func()) (release func(), err error) {
	if _, err := os.Stat(filepath.Join(resultdir.StudyFolder(dir), capture.StudyFile)); err != nil {
		return func() {}, nil // no study, as load tells; nothing is made in its folder
	}
	if release, err = resultdir.Lock(ctx, dir, waiting); err != nil {
		return nil, err
	}
	if err := collect(dir); err != nil {
		release()
		return nil, err
	}
	return release, nil
}

// anew is the line once: responses, what only their comparison shows, estimates,
// results, files.
func (u *run) anew(ctx context.Context) (report.Results, error) {
	if err := u.respond(ctx); err != nil {
		return report.Results{}, err
	}
	if err := u.counts.misfiled(u.study, keysOf(u.recorded)); err != nil {
		return report.Results{}, err
	}
	if err := u.compare(); err != nil {
		return report.Results{}, err
	}
	e, err := u.estimate(ctx)
	if err != nil {
		return report.Results{}, err
	}
	head, err := convert.About(u.study, u.readings)
	if err != nil {
		return report.Results{}, err
	}
	head.Findings = append(head.Findings, e.taken.Findings...)
	head.PanelChanges = e.taken.Changes
	r := convert.Results(head, u.study, u.recorded, e.Analysis)
	for _, rec := range r.Recordings {
		if !rec.Usable {
			u.counts.Refused++
		}
	}
	return r, u.finish(head, r, e)
}

// respond finds the response of each recording, from the cache where it did not change.
func (u *run) respond(ctx context.Context) (err error) {
	if err := u.stampFiles(u.study); err != nil {
		return err
	}
	if err := u.apart(u.study, u.before); err != nil {
		return err
	}
	if u.setup, err = u.study.Setup(); err != nil {
		return err
	}
	if err := u.respondWith(u.setup); err != nil {
		return err
	}
	read := u.stamps.Read()
	u.recorded, err = u.responder.All(ctx, u.study.Seatings)
	u.responder.First = nil // what it holds is large, and done with
	if err = errors.Join(err, u.stamps.Save()); err != nil {
		return err
	}
	u.counts = Counts{
		Recordings: len(u.recorded), Missing: len(u.study.NotRecorded), Doubts: doubts(u.study),
		Processed: u.responder.Processed(), Cached: u.responder.Cached(), Read: u.stamps.Read() - read,
	}
	for i, row := range u.study.Seatings {
		if u.responder.Changed(i) {
			u.counts.Changed = append(u.counts.Changed, row.File)
		}
	}
	return nil
}
