package pipeline

import (
	"context"
	"path/filepath"
	"slices"

	"asworn/capture"
	"asworn/cmd/internal/cache"
	"asworn/fitcorr"
	"asworn/report"
)

// again returns the results of the last run when nothing has changed since, neither
// what it read nor what it wrote; else false, and a run has to find out what did.
// Nothing is read of a file that looks untouched.
func (l *line) again(ctx context.Context, in inputs) (report.Results, Counts, bool) {
	st := in.study
	counts := Counts{Recordings: len(st.Seatings), Missing: len(st.NotRecorded), Cached: len(st.Seatings)}
	key, ok := l.inputsKey(in)
	if !ok || ctx.Err() != nil {
		return report.Results{}, counts, false
	}
	var e ended
	if !l.estimates.Get(key, &e) || len(e.Responses) != len(st.Seatings) {
		return report.Results{}, counts, false
	}
	if !l.estimates.Get(e.Estimates, cache.AsJSON(&e.Results.Analysis)) {
		return report.Results{}, counts, false
	}
	if w := in.written(); w.list.Key != e.Outputs || len(w.changed) > 0 {
		return report.Results{}, counts, false
	}
	if err := counts.misfiled(st, e.Responses); err != nil {
		return report.Results{}, counts, false
	}
	counts.Refused, counts.PanelChanged, counts.Doubts = e.Refused, e.PanelChanged, doubts(st)
	return e.Results, counts, true
}

// keep keeps a run for again, if its files look untouched since it read them.
func (l *line) keep(in inputs, e ended) (cache.Key, error) {
	key, ok := l.inputsKey(in)
	if !ok {
		return key, nil
	}
	e.Results.Analysis = fitcorr.Analysis{}
	return key, l.estimates.Put(key, e)
}

// inputsKey names all that a run follows from; false when a file has to be read to
// know.
func (l *line) inputsKey(in inputs) (cache.Key, bool) {
	st := in.study
	files := st.Files()
	contents := make([]cache.Key, len(files))
	for i, f := range files {
		var ok bool
		if contents[i], ok = l.stamps.Known(f, filepath.Join(st.Dir, filepath.FromSlash(f))); !ok {
			return cache.Key{}, false
		}
	}
	said := *st
	said.Dir = "" // where the study lies is no part of it
	key, err := cache.KeyOf("ended", l.program, in.texts, said, in.before.Sums, contents)
	return key, err == nil
}

// stampFiles takes down what the files hold that study.toml names, before they are used.
func (l *line) stampFiles(st *capture.Study) error {
	rows := map[string]bool{}
	for _, row := range st.Seatings {
		for _, f := range row.Files() {
			rows[f] = true
		}
	}
	files := slices.DeleteFunc(st.Files(), func(f string) bool { return rows[f] })
	for _, f := range files {
		if _, _, err := l.stamps.Key(f, filepath.Join(st.Dir, filepath.FromSlash(f))); err != nil {
			return err
		}
	}
	return nil
}
