package plot

import (
	"fmt"
	"slices"
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
