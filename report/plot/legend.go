package plot

import (
	"image/color"

	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"asworn/report/figure"
)

// legend stands in rows under the plot, where it covers no curve.
type legend struct {
	entries []figure.Key
	style   vgtext.Style
	size    vg.Length
}

// places puts the entries into rows, left to right, each as wide as it needs, and
// gives their left ends, their rows and how many rows there are.
func (l legend) places(width vg.Length) (x []vg.Length, row []int, rows int) {
	var at vg.Length
	for i, e := range l.entries {
		w := l.style.Width(e.Name) + 4.5*l.size
		if i > 0 && at+w > width+1.5*l.size { // what follows the name may stand out
			at, rows = 0, rows+1
		}
		x, row = append(x, at), append(row, rows)
		at += w
	}
	return x, row, rows + 1
}

func (l legend) height(width vg.Length) vg.Length {
	if len(l.entries) == 0 {
		return 0
	}
	_, _, rows := l.places(width)
	return 1.4 * l.size * (vg.Length(rows) + 0.5)
}

func (l legend) draw(c draw.Canvas) {
	if len(l.entries) == 0 {
		return
	}
	width := c.Max.X - c.Min.X
	left, row, _ := l.places(width)
	st := l.style
	st.XAlign, st.YAlign = vgtext.XLeft, vgtext.YCenter
	top := c.Min.Y + l.height(width) - 1.2*l.size
	for i, e := range l.entries {
		x := c.Min.X + left[i]
		y := top - 1.4*l.size*vg.Length(row[i])
		l.swatch(c, e, x, y)
		c.FillText(st, vg.Point{X: x + 3*l.size, Y: y}, e.Name)
	}
}

// swatch shows what an entry looks like in the plot.
func (l legend) swatch(c draw.Canvas, k figure.Key, x, y vg.Length) {
	right, middle := x+2.5*l.size, vg.Point{X: x + 1.25*l.size, Y: y}
	area := func(fill color.Color) {
		half := l.size / 2
		c.FillPolygon(fill, []vg.Point{{X: x, Y: y - half}, {X: right, Y: y - half}, {X: right, Y: y + half}, {X: x, Y: y + half}})
	}
	switch {
	case k.Line != nil:
		if k.Line.Band {
			area(pale(okabeIto[k.Line.Style.Tint]))
		}
		c.StrokeLine2(lineStyle(k.Line.Style), x, y, right, y)
	case k.Mark:
		c.DrawGlyph(draw.GlyphStyle{Color: toneColor(k.Tone), Radius: vg.Points(3.2), Shape: toneGlyph(k.Tone)}, middle)
	case k.Worn:
		c.FillPolygon(dots, wornMark(k.Shape, middle))
	case k.Cross:
		c.DrawGlyph(draw.GlyphStyle{Color: okabeIto[0], Radius: vg.Points(4), Shape: draw.PlusGlyph{}}, middle)
	case k.Area:
		area(shade)
	case k.Circle != nil:
		c.StrokeLine2(outlineStyle(*k.Circle), x, y, right, y)
	}
}
