package plot

import (
	"image/color"
	"math"

	gplot "gonum.org/v1/plot"
	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"asworn/report/figure"
	"asworn/report/table"
)

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

var (
	grid  = color.RGBA{0xdd, 0xdd, 0xdd, 0xff}
	shade = color.NRGBA{0x88, 0x88, 0x88, 0x40}
	veil  = color.NRGBA{0xff, 0xff, 0xff, 0xc0} // behind a number, so that lines do not cross it
	dots  = color.RGBA{0x77, 0x77, 0x77, 0xff}
)

// dashes in points per dash style.
var dashes = [figure.Dashes][]vg.Length{nil, {5, 2.5}, {1.5, 2}, {7, 2, 1.5, 2}, {9, 3}, {2.5, 1.2}, {7, 1.8, 1.5, 1.8, 1.5, 1.8}, {4, 1.8, 4, 1.8, 1, 1.8}}

func pale(c color.RGBA) color.NRGBA { return color.NRGBA{c.R, c.G, c.B, 0x30} }

func lineStyle(s figure.Style) draw.LineStyle {
	w := vg.Points(1.2)
	if s.Thin {
		w = vg.Points(0.6)
	}
	return draw.LineStyle{Color: okabeIto[s.Tint], Width: w, Dashes: dashes[s.Dash]}
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

// toneGlyph is the mark of a verdict, the same shapes as figure.Glyph.
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

// shapes draws what a scene holds inside its axes.
type shapes struct {
	scene  figure.Scene
	letter vgtext.Style
}

// pen draws in units of the axes and clips to them.
type pen struct {
	c    *draw.Canvas
	x, y func(float64) vg.Length
}

// Plot is gonum/plot's way to draw inside the axes.
func (s shapes) Plot(c draw.Canvas, p *gplot.Plot) {
	d := pen{c: &c}
	d.x, d.y = p.Transforms(&c)
	for _, shape := range s.scene.Shapes {
		switch shape := shape.(type) {
		case figure.Area:
			if !shape.Of.Hidden {
				for _, poly := range shape.Polys {
					d.fill(pale(okabeIto[shape.Of.Style.Tint]), poly)
				}
			}
		case figure.Line:
			if !shape.Of.Hidden {
				for _, run := range shape.Runs {
					d.line(lineStyle(shape.Of.Style), run)
				}
			}
		case figure.Outline:
			s.outline(d, shape)
		case figure.Stripe:
			lo, hi := s.scene.Y.Min, s.scene.Y.Max
			d.fill(shade, []figure.Point{{X: shape.Lower, Y: lo}, {X: shape.Upper, Y: lo}, {X: shape.Upper, Y: hi}, {X: shape.Lower, Y: hi}})
			d.line(draw.LineStyle{Color: okabeIto[0], Width: vg.Points(0.8)}, []figure.Point{{X: shape.Middle, Y: lo}, {X: shape.Middle, Y: hi}})
		case figure.Cross:
			d.glyph(draw.PlusGlyph{}, okabeIto[0], 4, shape.At)
		case figure.Mark:
			s.extent(d, shape)
		}
	}
	for _, shape := range s.scene.Shapes { // over all of their intervals
		if m, ok := shape.(figure.Mark); ok {
			s.mark(d, m)
		}
	}
}

func (s shapes) inside(m figure.Mark) bool {
	at := figure.Point{X: s.scene.X.At(m.At.X), Y: s.scene.Y.At(m.At.Y)}
	return at.X >= 0 && at.X <= 1 && at.Y >= 0 && at.Y <= 1
}

// extent draws the interval of a mark.
func (s shapes) extent(d pen, m figure.Mark) {
	if m.Worn || !s.inside(m) {
		return
	}
	c := toneColor(m.Tone)
	if m.Area != nil {
		d.line(draw.LineStyle{Color: c, Width: vg.Points(0.7)}, ring(*m.Area, m.At))
	}
	if m.Bar != nil {
		d.line(draw.LineStyle{Color: c, Width: vg.Points(1)}, []figure.Point{{X: m.Bar.Lower, Y: m.At.Y}, {X: m.Bar.Upper, Y: m.At.Y}})
	}
}

func (s shapes) outline(d pen, o figure.Outline) {
	points := ring(o.Ellipse, figure.Point{})
	switch o.Role {
	case figure.Scatter:
		d.fill(shade, points)
	default:
		d.line(outlineStyle(o.Role), points)
	}
}

func outlineStyle(r figure.Role) draw.LineStyle {
	if r == figure.Tolerance {
		return draw.LineStyle{Color: okabeIto[0], Width: vg.Points(1), Dashes: dashes[1]}
	}
	return draw.LineStyle{Color: okabeIto[0], Width: vg.Points(0.8)}
}

func (s shapes) mark(d pen, m figure.Mark) {
	if !s.inside(m) {
		return
	}
	if m.Worn {
		d.worn(m.Shape, m.At)
		return
	}
	c := toneColor(m.Tone)
	if m.Shown != m.At {
		d.line(draw.LineStyle{Color: okabeIto[0], Width: vg.Points(0.4)}, []figure.Point{m.At, m.Shown})
		d.glyph(draw.CircleGlyph{}, c, 0.8, m.At)
	}
	d.glyph(toneGlyph(m.Tone), c, 3.2, m.Shown)
	if m.Text != "" {
		st := s.letter
		st.XAlign, st.YAlign = vgtext.XLeft, vgtext.YCenter
		at := d.point(m.Shown)
		at.X += vg.Points(4)
		half := st.Font.Size / 2
		width := st.Width(m.Text)
		d.c.FillPolygon(veil, []vg.Point{{X: at.X, Y: at.Y - half}, {X: at.X + width, Y: at.Y - half}, {X: at.X + width, Y: at.Y + half}, {X: at.X, Y: at.Y + half}})
		d.c.FillText(st, at, m.Text)
	}
}

func (d pen) point(p figure.Point) vg.Point { return vg.Point{X: d.x(p.X), Y: d.y(p.Y)} }

func (d pen) points(ps []figure.Point) []vg.Point {
	out := make([]vg.Point, len(ps))
	for i, p := range ps {
		out[i] = d.point(p)
	}
	return out
}

func (d pen) line(st draw.LineStyle, ps []figure.Point) {
	d.c.StrokeLines(st, d.c.ClipLinesXY(d.points(ps))...)
}

func (d pen) fill(c color.Color, ps []figure.Point) {
	d.c.FillPolygon(c, d.c.ClipPolygonXY(d.points(ps)))
}

// worn draws the mark of a worn seating inside the axes.
func (d pen) worn(shape int, at figure.Point) {
	if p := d.point(at); d.c.Contains(p) {
		d.c.FillPolygon(dots, wornMark(shape, p))
	}
}

func wornMark(shape int, at vg.Point) []vg.Point {
	var out []vg.Point
	for _, p := range figure.WornShape(shape) {
		out = append(out, vg.Point{X: at.X + vg.Points(1.7*p.X), Y: at.Y + vg.Points(1.7*p.Y)})
	}
	return out
}

func (d pen) glyph(g draw.GlyphDrawer, c color.Color, radius float64, at figure.Point) {
	d.c.DrawGlyph(draw.GlyphStyle{Color: c, Radius: vg.Points(radius), Shape: g}, d.point(at))
}

// ring is an ellipse about a point as a closed line.
func ring(e figure.Ellipse, about figure.Point) []figure.Point {
	const n = 72
	out := make([]figure.Point, n+1)
	for i := range out {
		out[i].X, out[i].Y = e.At(about.X, about.Y, 2*math.Pi*float64(i)/n)
	}
	return out
}
