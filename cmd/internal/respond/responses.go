// Package respond turns the rows of a study into responses, from the cache or anew,
// and a recording that cannot be processed into a refusal. It does not know what is
// estimated from them.
package respond

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/workers"
	"asworn/cmd/internal/cache"
)

// Response is one processed recording with the key of everything that it
// depends on.
type Response struct {
	Key       cache.Key
	Contents  []cache.Key       // of the row's files, in the order of Seating.Files
	Recording capture.Recording // without impulse responses
}

// Responder turns the rows of a sheet into responses: from the cache where
// the recording and everything that affects it are unchanged, else anew.
type Responder struct {
	Dir      string                // of the study
	Setup    cache.Key             // program and capture settings
	Store    cache.Store           // of responses
	Stamps   *cache.Stamps         // of recordings
	Jobs     int                   // workers; 0 means all cores
	Progress func(done, total int) // never called by two goroutines at once; may be nil
	// First builds the processor; nothing is built when all is in the cache.
	First func() (*capture.Processor, error)

	cached, processed atomic.Int64
	mu                sync.Mutex
	changed           map[int]bool // rows whose recording changed since an earlier run
}

// Cached is how many responses came from the cache so far.
func (r *Responder) Cached() int { return int(r.cached.Load()) }

// Processed is how many responses were computed so far.
func (r *Responder) Processed() int { return int(r.processed.Load()) }

// Changed reports whether the recording of a row, by its place in what All was
// given, changed since an earlier run. It is asked after All has ended.
func (r *Responder) Changed(i int) bool { return r.changed[i] }

// All returns the responses of the rows, in their order. Each worker holds one
// recording at a time. What was finished when the context ends is kept.
func (r *Responder) All(ctx context.Context, rows []capture.Seating) ([]Response, error) {
	out := make([]Response, len(rows))
	err := workers.Each(ctx, len(rows), r.Jobs, r.Progress, func(context.Context) func(int) error {
		var own *capture.Processor // made when this worker first needs it
		return func(i int) (err error) {
			if out[i], err = r.One(i, rows[i], &own); err != nil {
				return fmt.Errorf("%s (row %d): %w", rows[i].File, rows[i].Row, err)
			}
			return nil
		}
	})
	return out, err
}

// One returns the response of row i. own is the caller's processor, which no other
// goroutine uses; it is made when first needed and when the last one failed.
func (r *Responder) One(i int, row capture.Seating, own **capture.Processor) (out Response, err error) {
	before, err := r.stat(row)
	if err != nil {
		return Response{}, err
	}
	var contents []cache.Key // one file as a rule, two where each ear has its own
	changed := false
	for _, f := range row.Files() {
		content, anew, err := r.Stamps.Key(f, filepath.Join(r.Dir, filepath.FromSlash(f)))
		if err != nil {
			return Response{}, err
		}
		contents, changed = append(contents, content), changed || anew
	}
	if changed {
		r.mu.Lock()
		if r.changed == nil {
			r.changed = map[int]bool{}
		}
		r.changed[i] = true
		r.mu.Unlock()
	}
	key, err := r.key(row, contents)
	if err != nil {
		return Response{}, err
	}
	out = Response{Key: key, Contents: contents}
	if r.Store.Get(key, &out.Recording) {
		r.cached.Add(1)
		return out, nil
	}
	if err := r.Ready(own); err != nil {
		return Response{}, err
	}
	if out.Recording, err = processRow(own, r.Dir, row); err != nil {
		return Response{}, err
	}
	if now, err := r.stat(row); err != nil || !slices.Equal(now, before) {
		return Response{}, errors.New("the file changed while it was read; run again when the recording is finished")
	}
	r.processed.Add(1)
	dropImpulses(&out.Recording)
	return out, r.Store.Put(key, out.Recording)
}

// Ready makes the caller's processor where there is none yet.
func (r *Responder) Ready(own **capture.Processor) error {
	if *own != nil {
		return nil
	}
	p, err := r.First()
	if err != nil {
		return err
	}
	*own = p.Clone()
	return nil
}

// key is that of a row's response: of its files, and of what they hold.
func (r *Responder) key(row capture.Seating, contents []cache.Key) (cache.Key, error) {
	if row.Holds == study.HoldsRecording {
		return cache.KeyOf("response", r.Setup, contents[0])
	}
	return cache.KeyOf("response", r.Setup, row.Holds, contents)
}

// stamp tells whether a file is as it was.
type stamp struct {
	size     int64
	modified int64 // ns
}

func (r *Responder) stat(row capture.Seating) ([]stamp, error) {
	var out []stamp
	for _, f := range row.Files() {
		info, err := os.Stat(filepath.Join(r.Dir, filepath.FromSlash(f)))
		if err != nil {
			return nil, err
		}
		out = append(out, stamp{info.Size(), info.ModTime().UnixNano()})
	}
	return out, nil
}
