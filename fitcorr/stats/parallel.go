package stats

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// Parallel runs f for 0 to n−1 on up to jobs workers, all cores for 0. What f does for
// one number must not depend on the others, so that results do not depend on jobs. The
// error is ctx's. A panic in f is raised again by Parallel, in the goroutine that called
// it, where it can be caught. n of 0 does nothing.
func Parallel(ctx context.Context, n, jobs int, f func(i int)) error {
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var g errgroup.Group
	var failed atomic.Pointer[any]
	g.SetLimit(jobs)
	for i := range n {
		g.Go(func() error {
			defer func() {
				if v := recover(); v != nil {
					v = fmt.Errorf("%v, %s", v, Raised())
					failed.CompareAndSwap(nil, &v)
				}
			}()
			if ctx.Err() == nil {
				f(i)
			}
			return ctx.Err()
		})
	}
	err := g.Wait()
	if v := failed.Load(); v != nil {
		panic(*v)
	}
	return err
}

// Raised is the file and line of this module's own code where the panic that is
// being recovered was raised; it is for a deferred function.
func Raised() string {
	pc := make([]uintptr, 64)
	frames := runtime.CallersFrames(pc[:runtime.Callers(3, pc)])
	for {
		frame, more := frames.Next()
		if strings.HasPrefix(frame.Function, "asworn/") {
			return fmt.Sprintf("%s:%d", filepath.Base(frame.File), frame.Line)
		}
		if !more {
			return "place not known"
		}
	}
}
