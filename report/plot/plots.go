// Package plot writes figures as SVG and PNG files by gonum/plot.
package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"asworn/report/figure"

	"github.com/google/renameio/v2/maybe"
	"golang.org/x/sync/errgroup"
	gplot "gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Options shape the plot files.
type Options struct {
	WidthMM float64 // 0 means 170, a page's text width
	// HeightMM is the height of dot plots and of curves that are no level, and
	// the side of maps; 0 suits the content. The aspect of level plots is fixed.
	HeightMM float64
	FontSize float64  // points; 0 means 9
	Font     string   // "sans" (also when empty), "serif" or "mono"
	DPI      int      // of PNG; 0 means 200
	Formats  []string // "svg", "png"; empty means both
	NoTitle  bool     // leave the title to the paper's caption
}

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
		o.Font = "sans"
	}
	if len(o.Formats) == 0 {
		o.Formats = []string{"svg", "png"}
	}
	switch {
	case o.WidthMM < 40 || o.WidthMM > 1000 || o.HeightMM < 0 || o.HeightMM > 1000:
		return o, fmt.Errorf("plot size %g × %g mm: choose a width from 40 to 1000 mm and a height up to 1000 mm", o.WidthMM, o.HeightMM)
	case o.FontSize < 4 || o.FontSize > 40:
		return o, fmt.Errorf("font size %g pt: choose 4 to 40", o.FontSize)
	case o.DPI < 30 || o.DPI > 1200:
		return o, fmt.Errorf("%d dots per inch: choose 30 to 1200", o.DPI)
	case !slices.Contains([]string{"sans", "serif", "mono"}, o.Font):
		return o, fmt.Errorf("font %q: choose sans, serif or mono", o.Font)
	}
	for _, f := range o.Formats {
		if f != "svg" && f != "png" {
			return o, fmt.Errorf("plot format %q: choose svg or png", f)
		}
	}
	return o, nil
}

// Write writes every figure to dir (made when missing) and returns the
// file names. The same results give the same bytes: no clock, no random order.
// Each file is written beside its place and renamed.
func Write(dir string, figs []figure.Figure, opt Options) ([]string, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}

	names := make([]string, len(figs)*len(opt.Formats))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, f := range figs {
		for k, format := range opt.Formats {
			name := f.Name + "." + format
			names[i*len(opt.Formats)+k] = name
			group.Go(func() error {
				b, err := Render(f, format, opt)
				if err != nil {
					return fmt.Errorf("plot %s: %w", f.Name, err)
				}
				return maybe.WriteFile(filepath.Join(dir, name), b, 0o666)
			})
		}
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return names, nil
}

// Render draws the figure as "svg" or "png".
func Render(f figure.Figure, format string, opt Options) ([]byte, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	l, err := layoutOf(f, opt)
	if err != nil {
		return nil, err
	}
	return l.encode(format, opt.DPI)
}

// layout is a plot with the size at which its data area has its aspect, the
// legend below it, and a margin around both.
type layout struct {
	p      *gplot.Plot
	w, h   vg.Length // of the plot
	legend legend
	margin vg.Length
}

func layoutOf(f figure.Figure, opt Options) (layout, error) {
	var err error
	p := newPlot(f, opt)
	l := layout{p: p, margin: vg.Points(opt.FontSize) * 0.7}
	w := vg.Length(opt.WidthMM)*vg.Millimeter - 2*l.margin
	h := vg.Length(opt.HeightMM) * vg.Millimeter
	aspect := 0.0 // height over width of the data area
	switch {
	case f.Curves != nil:
		l.legend, err = addCurves(p, f.Curves, opt)
		switch c := f.Curves; {
		case c.DBPerDecade > 0:
			aspect = (c.YMax - c.YMin) / c.DBPerDecade / 3
		case h == 0:
			aspect = 0.5
		}
	case f.Map != nil:
		err = addMap(p, f.Map)
		aspect = 1
		side := 110 * vg.Millimeter // a square map needs no more
		if h > 0 {
			side = h
		}
		w = min(w, side)
	case f.Dots != nil:
		err = addDots(p, f.Dots)
		if h == 0 {
			h = vg.Points(opt.FontSize) * (6 + 1.9*vg.Length(len(f.Dots.Rows)))
		}
	}
	if err == nil && aspect > 0 {
		h = heightFor(p, w, aspect)
	}
	l.w, l.h = w, h
	return l, err
}

// heightFor finds the height that gives the data area its aspect: the room
// for labels does not depend on it.
func heightFor(p *gplot.Plot, w vg.Length, aspect float64) vg.Length {
	h := w
	for range 3 {
		area := p.DataCanvas(draw.NewCanvas(vgsvg.New(w, h), w, h))
		have := area.Max.Y - area.Min.Y
		want := vg.Length(aspect) * (area.Max.X - area.Min.X)
		h += want - have
	}
	return h
}

func (l layout) encode(format string, dpi int) ([]byte, error) {
	w, h := l.w+2*l.margin, l.h+2*l.margin+l.legend.height(l.w)
	var c vg.CanvasWriterTo
	if format == "svg" {
		c = vgsvg.New(w, h)
	} else {
		c = vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(dpi))}
	}
	all := draw.NewCanvas(c, w, h)
	all.SetColor(color.White)
	all.Fill(all.Rectangle.Path())
	inner := draw.Crop(all, l.margin, -l.margin, l.margin, -l.margin)
	l.p.Draw(draw.Crop(inner, 0, 0, l.legend.height(l.w), 0))
	l.legend.draw(inner)
	var b bytes.Buffer
	_, err := c.WriteTo(&b)
	return b.Bytes(), err
}

// okabeIto are colours that people with colour-vision deficiencies tell apart
// (Okabe & Ito, Color Universal Design, 2008); those of them that stand out
// at least 3:1 from white (WCAG 2.2, 1.4.11), but for purple, 2.9:1, which
// always comes with a mark or dash of its own. Tint 0 is black.
var okabeIto = [figure.Tints + 1]color.RGBA{
	{0x22, 0x22, 0x22, 0xff},
	{0x00, 0x72, 0xB2, 0xff}, // blue
	{0xD5, 0x5E, 0x00, 0xff}, // vermilion
	{0x00, 0x9E, 0x73, 0xff}, // bluish green
	{0xCC, 0x79, 0xA7, 0xff}, // reddish purple
}

var grid = color.RGBA{0xdd, 0xdd, 0xdd, 0xff}

// dashes in points per dash style.
var dashes = [figure.Dashes][]vg.Length{nil, {5, 2.5}, {1.5, 2}, {7, 2, 1.5, 2}}

func pale(c color.RGBA) color.NRGBA { return color.NRGBA{c.R, c.G, c.B, 0x30} }

func lineStyle(s figure.Style) draw.LineStyle {
	w := vg.Points(1.2)
	if s.Thin {
		w = vg.Points(0.6)
	}
	return draw.LineStyle{Color: okabeIto[s.Tint], Width: w, Dashes: dashes[s.Dash]}
}

func newPlot(f figure.Figure, opt Options) *gplot.Plot {
	p := gplot.New()
	variant := font.Variant(strings.ToUpper(opt.Font[:1]) + opt.Font[1:])
	size := vg.Points(opt.FontSize)
	for _, st := range []*vgtext.Style{&p.Title.TextStyle, &p.X.Label.TextStyle, &p.Y.Label.TextStyle,
		&p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		st.Font.Variant, st.Font.Size = variant, size
	}
	p.Title.TextStyle.Font.Size = 1.1 * size
	p.Title.Padding = size / 2
	if !opt.NoTitle {
		p.Title.Text = f.Title
	}
	p.X.Padding, p.Y.Padding = 0, 0
	return p
}

func addCurves(p *gplot.Plot, c *figure.Curves, opt Options) (legend, error) {
	leg := legend{style: p.Legend.TextStyle, size: vg.Points(opt.FontSize)}
	p.X.Min, p.X.Max, p.X.Scale = 20, 20000, gplot.LogScale{}
	p.Y.Min, p.Y.Max = c.YMin, c.YMax
	p.X.Label.Text, p.Y.Label.Text = "Frequency, Hz", c.YLabel
	p.X.Tick.Marker = gplot.ConstantTicks(figure.FrequencyTicks())
	p.Y.Tick.Marker = gplot.ConstantTicks(figure.LevelTicks(c))
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g)
	for _, s := range c.Series {
		if s.Hidden {
			continue
		}
		for _, poly := range figure.BandPolygons(c, s) {
			pg, err := plotter.NewPolygon(poly)
			if err != nil {
				return leg, err
			}
			pg.Color, pg.LineStyle.Width = pale(okabeIto[s.Style.Tint]), 0
			p.Add(pg)
		}
	}
	for _, s := range c.Series {
		if s.Hidden {
			continue
		}
		var first *plotter.Line
		for _, run := range figure.Runs(c, s.Y) {
			l, err := plotter.NewLine(run)
			if err != nil {
				return leg, err
			}
			l.LineStyle = lineStyle(s.Style)
			p.Add(clipped{l})
			if first == nil {
				first = l
			}
		}
		if first != nil {
			leg.entries = append(leg.entries, legendEntry{s.Name, first})
		}
	}
	return leg, nil
}
