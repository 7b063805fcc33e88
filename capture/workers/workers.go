// Package workers does many pieces of work of one kind on several goroutines, in an
// order that does not matter. It does not know what the work is.
package workers

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// errPanic ends the work of all after a panic in one.
var errPanic = errors.New("panic")

// Each calls do for 0 to n−1, on so many goroutines as jobs says; all cores when it is
// less than 1. Every goroutine has a do of its own from begin, which is where what
// it must not share is made. Progress hears after each call how many of n are done,
// is never called by two goroutines at once and may be nil.
//
// After an error of do, or when ctx has ended, no further call begins; Each returns the
// first error when those under way have ended. The context given to begin ends then too.
// A panic is raised again by Each, in the goroutine that called it, where it can be caught.
func Each(ctx context.Context, n, jobs int, progress func(done, total int), begin func(context.Context) (do func(i int) error)) error {
	if jobs < 1 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var failed atomic.Pointer[error]
	var mu sync.Mutex
	done := 0
	g, ctx := errgroup.WithContext(ctx)
	for range min(jobs, n) {
		g.Go(func() (err error) {
			defer func() {
				if v := recover(); v != nil {
					err = errPanic
					what := fmt.Errorf("%v, %s", v, Raised())
					failed.CompareAndSwap(nil, &what)
				}
			}()
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
	err := g.Wait()
	if v := failed.Load(); v != nil {
		panic(*v)
	}
	return err
}

// All is Each for work that neither fails nor needs anything of its own. What f does for
// one number must not depend on the others, so that results do not depend on jobs. The
// error is ctx's.
func All(ctx context.Context, n, jobs int, f func(i int)) error {
	return Each(ctx, n, jobs, nil, func(context.Context) func(int) error {
		return func(i int) error { f(i); return nil }
	})
}
