package stats

import (
	"context"
	"runtime"

	"golang.org/x/sync/errgroup"
)

// Parallel runs f for 0 to n−1 on up to jobs workers, all cores for 0. What f
// does for one number must not depend on the others, so that results do not
// depend on jobs. The error is ctx's.
func Parallel(ctx context.Context, n, jobs int, f func(i int)) error {
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var g errgroup.Group
	g.SetLimit(jobs)
	for i := range n {
		g.Go(func() error {
			if ctx.Err() == nil {
				f(i)
			}
			return ctx.Err()
		})
	}
	return g.Wait()
}
