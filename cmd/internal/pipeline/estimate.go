package pipeline

import (
	"context"
	"path/filepath"
	"sync"

	"asworn/capture"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/convert"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/respond"
	"asworn/fitcorr"
	"asworn/fitcorr/earlier"
)

// estimates is what is kept of an analysis.
type estimates struct {
	Analysis fitcorr.Analysis
	Frozen   fitcorr.Frozen
	Parts    []cache.Key // of what it was put together from
	key      cache.Key
	taken    earlier.Taken // from earlier studies
	keep     func() error  // keeps it all for the next run
}

// estimate analyses the usable responses, or finds that it was done before.
func (u *run) estimate(ctx context.Context) (estimates, error) {
	study := u.study
	u.readings = convert.Readings(study)
	opt := convert.Options(study, u.readings, u.opt.Jobs)
	var seatings []fitcorr.Seating
	var keys []cache.Key
	for i, row := range study.Seatings {
		if rec := u.recorded[i].Recording; rec.Quality.Usable() {
			seatings = append(seatings, convert.Seating(row, rec))
			keys = append(keys, u.recorded[i].Key)
		}
	}
	convert.PlaceReadings(seatings, u.readings)
	taken := earlier.Take(seatings, study.Readings, u.readings, study.Reading, u.before.Panels, study.Limits.Confidence)
	seatings, opt.Reading = taken.Seatings, taken.Reading
	keyed := opt
	keyed.Jobs = 0 // does not change the results
	key, err := cache.KeyOf("estimates", u.program, keyed, convert.Rows(seatings), keys, u.before.Sums)
	if err != nil {
		return estimates{}, err
	}
	e := estimates{key: key, taken: taken, keep: func() error { return nil }}
	u.counts.PanelChanged = len(taken.Changes) > 0
	if u.estimates.Get(key, cache.AsJSON(&e.Analysis), &e.Frozen, &e.Parts) {
		return e, nil
	}
	u.counts.Estimated = true
	u.opt.stage("estimating positions")
	parts := &parts{line: u.line, anew: map[string]int{}}
	err = respond.Guard(func() error {
		e.Analysis, e.Frozen, err = fitcorr.AnalyseWith(ctx, seatings, opt, parts)
		return err
	})
	if err != nil {
		return e, err
	}
	e.Parts = parts.used()
	u.counts.Anew = parts.anew
	e.keep = func() error { return u.estimates.Put(key, cache.AsJSON(&e.Analysis), &e.Frozen, e.Parts) }
	return e, nil
}

// apart is an error when an earlier study is made of recordings of this one.
func (l *line) apart(st *capture.Study, before panelfile.Earlier) error {
	if len(before.Panels) == 0 {
		return nil
	}
	var own []earlier.Recording
	for _, row := range st.Seatings {
		var contents []cache.Key
		for _, f := range row.Files() {
			path := filepath.Join(st.Dir, filepath.FromSlash(f))
			key, known := l.stamps.Known(f, path)
			if !known { // what changed since an earlier run is told when the responses are made
				var err error
				if key, err = cache.FileKey(path); err != nil {
					return err
				}
			}
			contents = append(contents, key)
		}
		own = append(own, panelfile.Recordings(row, contents)...)
	}
	return before.Apart(own)
}

// contentsOf are those of each row's files.
func contentsOf(responses []respond.Response) (out [][]cache.Key) {
	for _, r := range responses {
		out = append(out, r.Contents)
	}
	return out
}

// parts keeps what an analysis is put together from among the estimates
// (fitcorr.Memory).
type parts struct {
	line *line
	mu   sync.Mutex
	keys []cache.Key
	anew map[string]int // by name
}

// Recall implements fitcorr.Memory.
func (p *parts) Recall(name string, of []any, to any) (keep func(value any), found bool) {
	key, err := cache.KeyOf(append([]any{"part", p.line.program, name}, of...)...)
	if err != nil {
		return func(any) {}, false // estimated anew each time
	}
	found = p.line.estimates.Get(key, to)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.keys = append(p.keys, key)
	if !found {
		p.anew[name]++
	}
	// A disk that takes no more is told of by what is written after it.
	return func(value any) { _ = p.line.estimates.Put(key, value) }, found
}

// used are the keys of all that was asked for.
func (p *parts) used() []cache.Key {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.keys
}
