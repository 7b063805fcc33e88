package plot

import (
	vgtext "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// legend stands in rows under the plot, where it covers no curve.
type legend struct {
	entries []legendEntry
	style   vgtext.Style
	size    vg.Length
}

type legendEntry struct {
	name string
	line draw.LineStyle
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
		c.StrokeLine2(e.line, x, y, x+2.5*l.size, y)
		c.FillText(st, vg.Point{X: x + 3*l.size, Y: y}, e.name)
	}
}
