// Package plot writes figures as SVG and PNG files by gonum/plot.
package plot

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"asworn/capture/disk"
	"asworn/report/figure"

	"golang.org/x/sync/errgroup"
)

// Write writes every figure to dir (made when missing) and returns the file
// names. The same figures give the same bytes: no clock, no random order. Each
// file is written beside its place and renamed. What an earlier call drew of the
// same content in the same way is left as it is, and what it drew of figures
// that there are no longer is removed.
func Write(dir string, figs []figure.Figure, opt Options) ([]string, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	names := make([]string, len(figs)*len(opt.Formats))
	made := make([]stamp, len(names))
	before := readStamps(dir)
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, f := range figs {
		shown := sync.OnceValue(func() string { return content(f, opt) })
		for k, format := range opt.Formats {
			n := i*len(opt.Formats) + k
			names[n] = f.Name + "." + string(format)
			group.Go(func() error {
				made[n].Content = shown()
				if old := before[names[n]]; old.Content == made[n].Content && old.lies(dir, names[n]) {
					made[n] = old
					return nil
				}
				b, err := render(f, format, opt)
				if err != nil {
					return fmt.Errorf("plot %s: %w", f.Name, err)
				}
				made[n].Sum = sumOf(b)
				return disk.WriteUnsynced(filepath.Join(dir, names[n]), b)
			})
		}
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	after := make(stamps)
	for i, name := range names {
		after[name] = made[i]
	}
	return names, after.replace(dir, before, figs)
}
