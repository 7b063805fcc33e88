// Package plot writes figures as SVG and PNG files by gonum/plot.
package plot

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"

	"asworn/capture/disk"
	"asworn/report/figure"

	"golang.org/x/sync/errgroup"
)

// Options shape the plot files.
type Options struct {
	WidthMM float64 // 0 means 170, a page's text width
	// HeightMM is the height of dot plots and of curves that are no level, and
	// the side of maps; 0 suits the content. The aspect of level plots is fixed.
	HeightMM float64
	FontSize float64  // points; 0 means 9
	Font     Font     // Sans when empty
	DPI      int      // of PNG; 0 means 200
	Formats  []Format // empty means all
	NoTitle  bool     // leave the title to the paper's caption
	Maker    string   // names the program: what another one drew is drawn anew
}

// Format is a kind of plot file, and the end of its name.
type Format string

// Formats lists the kinds of plot file.
var Formats = []Format{SVG, PNG}

// The kinds of plot file.
const (
	SVG Format = "svg"
	PNG Format = "png"
)

// Font is the lettering of a plot.
type Font string

// The letterings.
const (
	Sans  Font = "sans"
	Serif Font = "serif"
	Mono  Font = "mono"
)

func (o Options) withDefaults() (Options, error) {
	if o.WidthMM == 0 {
		o.WidthMM = 170
	}
	if o.FontSize == 0 {
		o.FontSize = 9
	}
	if o.DPI == 0 {
		o.DPI = 200
	}
	if o.Font == "" {
		o.Font = Sans
	}
	if len(o.Formats) == 0 {
		o.Formats = Formats
	}
	switch {
	case o.WidthMM < 40 || o.WidthMM > 1000 || o.HeightMM < 0 || o.HeightMM > 1000:
		return o, fmt.Errorf("plot size %g × %g mm: choose a width from 40 to 1000 mm and a height up to 1000 mm", o.WidthMM, o.HeightMM)
	case o.FontSize < 4 || o.FontSize > 40:
		return o, fmt.Errorf("font size %g pt: choose 4 to 40", o.FontSize)
	case o.DPI < 30 || o.DPI > 1200:
		return o, fmt.Errorf("%d dots per inch: choose 30 to 1200", o.DPI)
	case !slices.Contains([]Font{Sans, Serif, Mono}, o.Font):
		return o, fmt.Errorf("font %q: choose sans, serif or mono", o.Font)
	}
	for _, f := range o.Formats {
		if !slices.Contains(Formats, f) {
			return o, fmt.Errorf("plot format %q: choose svg or png", f)
		}
	}
	return o, nil
}

// writesAtOnce is how many files are brought to the disk at once, while others are drawn.
const writesAtOnce = 4

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
	var group, writes errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	writes.SetLimit(writesAtOnce)
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
				writes.Go(func() error { return disk.WriteFile(filepath.Join(dir, names[n]), b) })
				return nil
			})
		}
	}
	if err := cmp.Or(group.Wait(), writes.Wait()); err != nil {
		return nil, err
	}
	after := make(stamps)
	for i, name := range names {
		after[name] = made[i]
	}
	return names, after.replace(dir, before, figs)
}
