package plot

import (
	"image/color"
	"math"

	gplot "gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"asworn/report/figure"
	"asworn/report/table"
)

// clipped keeps a line inside the data area, which gonum's own line leaves.
type clipped struct{ *plotter.Line }

func (l clipped) Plot(c draw.Canvas, p *gplot.Plot) {
	trX, trY := p.Transforms(&c)
	pts := make([]vg.Point, len(l.XYs))
	for i, xy := range l.XYs {
		pts[i] = vg.Point{X: trX(xy.X), Y: trY(xy.Y)}
	}
	c.StrokeLines(l.LineStyle, c.ClipLinesXY(pts)...)
}

// legend stands in rows under the plot, where it covers no curve.
type legend struct {
	entries []legendEntry
	style   vgtext.Style
	size    vg.Length
}

type legendEntry struct {
	name string
	line gplot.Thumbnailer
}

// columns is how many entries of the longest name fit side by side.
func (l legend) columns(width vg.Length) int {
	widest := l.size
	for _, e := range l.entries {
		widest = max(widest, l.style.Width(e.name))
	}
	return max(1, int(width/(widest+4.5*l.size)))
}

func (l legend) height(width vg.Length) vg.Length {
	if len(l.entries) == 0 {
		return 0
	}
	n := l.columns(width)
	return 1.4 * l.size * (vg.Length((len(l.entries)+n-1)/n) + 0.5)
}

func (l legend) draw(c draw.Canvas) {
	if len(l.entries) == 0 {
		return
	}
	width := c.Max.X - c.Min.X
	n := l.columns(width)
	st := l.style
	st.XAlign, st.YAlign = vgtext.XLeft, vgtext.YCenter
	top := c.Min.Y + l.height(width) - 1.2*l.size
	for i, e := range l.entries {
		x := c.Min.X + width/vg.Length(n)*vg.Length(i%n)
		y := top - 1.4*l.size*vg.Length(i/n)
		e.line.Thumbnail(&draw.Canvas{Canvas: c.Canvas, Rectangle: vg.Rectangle{
			Min: vg.Point{X: x, Y: y - l.size/2}, Max: vg.Point{X: x + 2.5*l.size, Y: y + l.size/2}}})
		c.FillText(st, vg.Point{X: x + 3*l.size, Y: y}, e.name)
	}
}

// toneColor is the colour of a verdict in plots; its shape says the same.
func toneColor(t table.Tone) color.RGBA {
	switch t {
	case table.Good:
		return okabeIto[3]
	case table.Act, table.Bad:
		return okabeIto[2]
	case table.Unsure:
		return okabeIto[1]
	}
	return okabeIto[0]
}

// toneGlyph is the mark of a verdict: disc use, triangle move or reseal, ring
// undetermined, cross refused.
func toneGlyph(t table.Tone) draw.GlyphDrawer {
	switch t {
	case table.Act:
		return draw.PyramidGlyph{}
	case table.Unsure:
		return draw.RingGlyph{}
	case table.Bad:
		return draw.CrossGlyph{}
	}
	return draw.CircleGlyph{}
}

func addMap(p *gplot.Plot, m *figure.OffsetMap) error {
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -m.Limit, m.Limit, -m.Limit, m.Limit
	p.X.Label.Text, p.Y.Label.Text = "Forward (toward the nose), mm", "Up (toward the crown), mm"
	p.X.Tick.Marker, p.Y.Tick.Marker = gplot.ConstantTicks(figure.MapTicks(m.Limit)), gplot.ConstantTicks(figure.MapTicks(m.Limit))
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g)
	if m.Spread != nil {
		pg, err := plotter.NewPolygon(ring(*m.Spread, 0, 0, m.Limit))
		if err != nil {
			return err
		}
		pg.Color, pg.LineStyle.Width = color.NRGBA{0x88, 0x88, 0x88, 0x40}, 0
		p.Add(pg)
	}
	outline := func(e figure.Ellipse, x, y float64, st draw.LineStyle) error {
		l, err := plotter.NewLine(ring(e, x, y, 0))
		if err != nil {
			return err
		}
		l.LineStyle = st
		p.Add(clipped{l})
		return nil
	}
	if m.ToleranceMM > 0 {
		err := outline(figure.Ellipse{A: m.ToleranceMM, B: m.ToleranceMM}, 0, 0, draw.LineStyle{Color: okabeIto[0], Width: vg.Points(1), Dashes: dashes[1]})
		if err != nil {
			return err
		}
	}
	if m.Mean != nil {
		if err := outline(*m.Mean, 0, 0, draw.LineStyle{Color: okabeIto[0], Width: vg.Points(0.8)}); err != nil {
			return err
		}
	}
	if m.Marked != nil {
		if err := addMark(p, m.Marked[0], m.Marked[1], draw.PlusGlyph{}, okabeIto[0], 4); err != nil {
			return err
		}
	}
	for _, pt := range m.Points {
		if math.Abs(pt.X) > m.Limit || math.Abs(pt.Y) > m.Limit {
			continue
		}
		if pt.Worn {
			if err := addMark(p, pt.X, pt.Y, draw.CircleGlyph{}, color.RGBA{0x77, 0x77, 0x77, 0xff}, 1.2); err != nil {
				return err
			}
			continue
		}
		c := toneColor(pt.Tone)
		if pt.Interval != nil {
			if err := outline(*pt.Interval, pt.X, pt.Y, draw.LineStyle{Color: c, Width: vg.Points(0.7)}); err != nil {
				return err
			}
		}
		if err := addMark(p, pt.X, pt.Y, toneGlyph(pt.Tone), c, 3.2); err != nil {
			return err
		}
		l, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: pt.X, Y: pt.Y}}, Labels: []string{pt.Label}})
		if err != nil {
			return err
		}
		l.Offset = vg.Point{X: vg.Points(4), Y: vg.Points(2)}
		l.TextStyle[0].Font = p.X.Tick.Label.Font
		p.Add(l)
	}
	return nil
}

// ring is an ellipse as a closed line; limit > 0 keeps it inside the frame.
func ring(e figure.Ellipse, x, y, limit float64) plotter.XYs {
	const n = 72
	out := make(plotter.XYs, n+1)
	for i := range out {
		px, py := e.At(x, y, 2*math.Pi*float64(i)/n)
		if limit > 0 {
			px, py = min(max(px, -limit), limit), min(max(py, -limit), limit)
		}
		out[i] = plotter.XY{X: px, Y: py}
	}
	return out
}

func addMark(p *gplot.Plot, x, y float64, g draw.GlyphDrawer, c color.Color, radius float64) error {
	s, err := plotter.NewScatter(plotter.XYs{{X: x, Y: y}})
	if err != nil {
		return err
	}
	s.GlyphStyle = draw.GlyphStyle{Color: c, Radius: vg.Points(radius), Shape: g}
	p.Add(s)
	return nil
}

func addDots(p *gplot.Plot, d *figure.Dots) error {
	lo, hi := d.Min, d.Max
	p.X.Min, p.X.Max = lo, hi
	p.Y.Min, p.Y.Max = -float64(len(d.Rows))+0.4, 0.6
	p.X.Label.Text = d.XLabel
	p.X.Tick.Marker = gplot.ConstantTicks(figure.ValueTicks(lo, hi, figure.GridStep(0, hi-lo)))
	var ticks []gplot.Tick
	for i, r := range d.Rows {
		ticks = append(ticks, gplot.Tick{Value: -float64(i), Label: r.Name})
	}
	p.Y.Tick.Marker = gplot.ConstantTicks(ticks)
	p.Y.Tick.Length, p.Y.LineStyle.Width = 0, 0
	p.Y.Tick.Label.YAlign = vgtext.YCenter
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g)
	if d.Band != nil {
		a, b := max(d.Band[0], lo), min(d.Band[2], hi)
		pg, err := plotter.NewPolygon(plotter.XYs{{X: a, Y: p.Y.Min}, {X: b, Y: p.Y.Min}, {X: b, Y: p.Y.Max}, {X: a, Y: p.Y.Max}})
		if err != nil {
			return err
		}
		pg.Color, pg.LineStyle.Width = color.NRGBA{0x88, 0x88, 0x88, 0x40}, 0
		p.Add(pg)
	}
	for i, r := range d.Rows {
		y := -float64(i)
		l, err := plotter.NewLine(plotter.XYs{{X: r.Lower, Y: y}, {X: r.Upper, Y: y}})
		if err != nil {
			return err
		}
		l.LineStyle = draw.LineStyle{Color: toneColor(r.Tone), Width: vg.Points(1)}
		p.Add(clipped{l})
		if err := addMark(p, r.Est, y, toneGlyph(r.Tone), toneColor(r.Tone), 3); err != nil {
			return err
		}
	}
	return nil
}
