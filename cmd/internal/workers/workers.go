// Package workers does many pieces of work of one kind on several goroutines, in an
// order that does not matter. It does not know what the work is.
package workers

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// Each calls do for 0 to n−1, on so many goroutines as jobs says; all cores when it is
// less than 1. Every goroutine has a do of its own from begin, which is where what
// it must not share is made. Progress hears after each call how many of n are done,
// is never called by two goroutines at once and may be nil.
//
// After an error of do, or when ctx has ended, no further call begins; Each returns the
// first error when those under way have ended. The context given to begin ends then too.
func Each(ctx context.Context, n, jobs int, progress func(done, total int), begin func(context.Context) (do func(i int) error)) error {
	if jobs < 1 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var mu sync.Mutex
	done := 0
	g, ctx := errgroup.WithContext(ctx)
	for range min(jobs, n) {
		g.Go(func() error {
			do := begin(ctx)
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := do(i); err != nil {
					return err
				}
				if progress != nil {
					mu.Lock()
					done++
					progress(done, n)
					mu.Unlock()
				}
			}
		})
	}
	return g.Wait()
}
