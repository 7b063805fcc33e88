package plot

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"strings"
	"sync"

	"git.sr.ht/~sbinet/gg"
	gplot "gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"asworn/report/figure"
)

// render draws the figure as "svg" or "png".
func render(f figure.Figure, format Format, opt Options) ([]byte, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	return layoutOf(f, opt).encode(format, opt.DPI)
}

// layout is a plot with the size at which its data area has its aspect, the
// legend below it, and a margin around both.
type layout struct {
	p      *gplot.Plot
	w, h   vg.Length // of the plot
	legend legend
	margin vg.Length
}

func layoutOf(f figure.Figure, opt Options) layout {
	s := f.Scene()
	p := newPlot(f.Title, s, opt)
	if !opt.NoTitle {
		p.Title.Text = inLines(f.Title, p.Title.TextStyle, vg.Length(opt.WidthMM)*vg.Millimeter*0.85)
	}
	size := vg.Points(opt.FontSize)
	l := layout{p: p, margin: 0.7 * size, legend: legend{style: p.Legend.TextStyle, size: size}}
	l.legend.entries = f.Keys()
	l.w = vg.Length(opt.WidthMM)*vg.Millimeter - 2*l.margin
	l.h = vg.Length(opt.HeightMM) * vg.Millimeter
	switch {
	case f.Map != nil:
		side := 110 * vg.Millimeter // a square map needs no more
		if l.h > 0 {
			side = l.h
		}
		l.w = min(l.w, side)
		l.h = heightFor(p, l.w, s.Aspect)
	case f.Curves != nil && (f.Curves.DBPerDecade > 0 || l.h == 0):
		l.h = heightFor(p, l.w, s.Aspect)
	case l.h == 0:
		l.h = size * (6 + 1.9*vg.Length(s.Rows))
	}
	return l
}

// inLines breaks a title between words where it would be wider than the plot.
func inLines(title string, st vgtext.Style, width vg.Length) string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(title) {
		if with := strings.TrimSpace(line + " " + word); line == "" || st.Width(with) <= width {
			line = with
			continue
		}
		lines = append(lines, line)
		line = word
	}
	return strings.Join(append(lines, line), "\n")
}

// heightFor finds the height that gives the data area its aspect: the room
// for labels hardly depends on it.
func heightFor(p *gplot.Plot, w vg.Length, aspect float64) vg.Length {
	h := w
	for range 3 {
		area := p.DataCanvas(draw.NewCanvas(vgsvg.New(w, h), w, h))
		off := vg.Length(aspect)*(area.Max.X-area.Min.X) - (area.Max.Y - area.Min.Y)
		h += off
		if max(off, -off) < 0.01 {
			break
		}
	}
	return h
}

func (l layout) encode(format Format, dpi int) ([]byte, error) {
	w, h := l.w+2*l.margin, l.h+2*l.margin+l.legend.height(l.w)
	var b bytes.Buffer
	if format == SVG {
		c := vgsvg.New(w, h)
		all := draw.NewCanvas(c, w, h)
		all.SetColor(color.White)
		all.Fill(all.Rectangle.Path())
		l.draw(all)
		_, err := c.WriteTo(&b)
		return b.Bytes(), err
	}
	// The canvas gets an image of our own: one that gonum/plot makes is copied first.
	img := image.NewRGBA(image.Rect(0, 0, int(w.Dots(float64(dpi))+0.5), int(h.Dots(float64(dpi))+0.5)))
	ctx := gg.NewContextForRGBA(img)
	ctx.SetLineCapButt()
	ctx.InvertY()
	c := vgimg.NewWith(vgimg.UseDPI(dpi), vgimg.UseImageWithContext(img, ctx))
	l.draw(draw.NewCanvas(c, w, h))
	err := encoder.Encode(&b, img)
	return b.Bytes(), err
}

// encoder packs less tightly than image/png by default and takes less than
// half as long; it keeps its buffers.
var encoder = png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: &buffers{}}

type buffers struct{ pool sync.Pool }

func (b *buffers) Get() *png.EncoderBuffer {
	p, _ := b.pool.Get().(*png.EncoderBuffer)
	return p
}
func (b *buffers) Put(p *png.EncoderBuffer) { b.pool.Put(p) }

func (l layout) draw(all draw.Canvas) {
	inner := draw.Crop(all, l.margin, -l.margin, l.margin, -l.margin)
	l.p.Draw(draw.Crop(inner, 0, 0, l.legend.height(l.w), 0))
	l.legend.draw(inner)
}

// newPlot is a plot with everything but its size.
func newPlot(title string, s figure.Scene, opt Options) *gplot.Plot {
	p := gplot.New()
	p.BackgroundColor = nil
	variant := font.Variant(strings.ToUpper(string(opt.Font[:1])) + string(opt.Font[1:]))
	size := vg.Points(opt.FontSize)
	for _, st := range []*vgtext.Style{&p.Title.TextStyle, &p.X.Label.TextStyle, &p.Y.Label.TextStyle,
		&p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle} {
		st.Font.Variant, st.Font.Size = variant, size
	}
	p.Title.TextStyle.Font.Size = 1.1 * size
	p.Title.Padding = size / 2
	if !opt.NoTitle {
		p.Title.Text = title
	}
	setAxis(&p.X, s.X)
	setAxis(&p.Y, s.Y)
	if s.Rows > 0 { // names, not numbers
		p.Y.Tick.Length, p.Y.LineStyle.Width = 0, 0
		p.Y.Tick.Label.YAlign = vgtext.YCenter
	}
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g, shapes{s, p.X.Tick.Label})
	return p
}

func setAxis(to *gplot.Axis, a figure.Axis) {
	to.Min, to.Max, to.Label.Text, to.Padding = a.Min, a.Max, a.Label, 0
	if a.Log {
		to.Scale = gplot.LogScale{}
	}
	ticks := make(gplot.ConstantTicks, len(a.Ticks))
	for i, t := range a.Ticks {
		ticks[i] = gplot.Tick{Value: t.Value, Label: t.Label}
	}
	to.Tick.Marker = ticks
}
