package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
)

// response is one processed recording with the key of everything that it
// depends on.
type response struct {
	Key       cache.Key
	Recording capture.Recording // without impulse responses
}

// impulses lie behind a recording in its cache file and are read only by
// those who export them. Single precision holds more than any converter.
type impulses [2][]float32

// responder turns the rows of a sheet into responses: from the cache where
// the recording and everything that affects it are unchanged, else anew.
type responder struct {
	dir    string
	setup  cache.Key // program and capture settings
	store  cache.Store
	stamps *cache.Stamps
	opt    Options
	// first builds the processor; nothing is built when all is in the cache.
	first func() (*capture.Processor, error)

	cached, processed atomic.Int64
	mu                sync.Mutex
	changed           map[int]bool // rows whose recording changed since an earlier run
}

// all returns the responses of the rows, in their order. Each worker holds one
// recording at a time. What was finished when the context ends is kept.
func (r *responder) all(ctx context.Context, rows []capture.Seating) ([]response, error) {
	jobs := r.opt.Jobs
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	out := make([]response, len(rows))
	var next, done atomic.Int64
	g, ctx := errgroup.WithContext(ctx)
	for range min(jobs, len(rows)) {
		g.Go(func() error {
			var own *capture.Processor // made when this worker first needs it
			for {
				i := int(next.Add(1)) - 1
				if i >= len(rows) {
					return nil
				}
				if err := ctx.Err(); err != nil {
					return err
				}
				var err error
				if out[i], err = r.one(i, rows[i], &own); err != nil {
					return fmt.Errorf("%s (row %d): %w", rows[i].File, rows[i].Row, err)
				}
				if n := int(done.Add(1)); r.opt.Progress != nil {
					r.mu.Lock()
					r.opt.Progress(n, len(rows))
					r.mu.Unlock()
				}
			}
		})
	}
	return out, g.Wait()
}

func (r *responder) one(i int, row capture.Seating, own **capture.Processor) (response, error) {
	before, err := r.stat(row)
	if err != nil {
		return response{}, err
	}
	var contents []cache.Key // one file as a rule, two where each ear has its own
	changed := false
	for _, f := range row.Files() {
		content, anew, err := r.stamps.Key(f, filepath.Join(r.dir, filepath.FromSlash(f)))
		if err != nil {
			return response{}, err
		}
		contents, changed = append(contents, content), changed || anew
	}
	if changed {
		r.mu.Lock()
		r.changed[i] = true
		r.mu.Unlock()
	}
	key, err := r.key(row, contents)
	if err != nil {
		return response{}, err
	}
	out := response{Key: key}
	if r.store.Get(key, &out.Recording) {
		r.cached.Add(1)
		return out, nil
	}
	if *own == nil {
		p, err := r.first()
		if err != nil {
			return response{}, err
		}
		*own = p.Clone()
	}
	if out.Recording, err = processRow(own, r.dir, row); err != nil {
		return response{}, err
	}
	if now, err := r.stat(row); err != nil || !slices.Equal(now, before) {
		return response{}, errors.New("the file changed while it was read; run again when the recording is finished")
	}
	r.processed.Add(1)
	impulse := takeImpulses(&out.Recording)
	return out, r.store.Put(key, out.Recording, impulse)
}

// key is that of a row's response: of its files, and of what they hold.
func (r *responder) key(row capture.Seating, contents []cache.Key) (cache.Key, error) {
	if row.Holds == study.HoldsRecording {
		return cache.KeyOf("response", r.setup, contents[0])
	}
	return cache.KeyOf("response", r.setup, row.Holds, contents)
}

// stamp tells whether a file is as it was.
type stamp struct {
	size     int64
	modified int64 // ns
}

func (r *responder) stat(row capture.Seating) ([]stamp, error) {
	var out []stamp
	for _, f := range row.Files() {
		info, err := os.Stat(filepath.Join(r.dir, filepath.FromSlash(f)))
		if err != nil {
			return nil, err
		}
		out = append(out, stamp{info.Size(), info.ModTime().UnixNano()})
	}
	return out, nil
}

// takeImpulses moves the impulse responses out of a recording.
func takeImpulses(rec *capture.Recording) impulses {
	var out impulses
	for e := range rec.Ears {
		out[e] = make([]float32, len(rec.Ears[e].Impulse))
		for i, v := range rec.Ears[e].Impulse {
			out[e][i] = float32(v)
		}
		rec.Ears[e].Impulse = nil
	}
	return out
}
