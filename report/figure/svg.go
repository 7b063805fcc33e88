package figure

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"

	"asworn/report/table"
	"asworn/report/text"
)

// The drawing area of a figure on the page, in units of its view box. Text is
// sized in CSS, so that it stays readable on a phone.
const (
	svgWidth  = 640.0
	svgLeft   = 72.0
	svgRight  = 24.0
	svgTop    = 12.0
	svgBottom = 58.0
)

// svgFrame maps values to the view box.
type svgFrame struct {
	x0, y0, w, h           float64
	xmin, xmax, ymin, ymax float64
	logX                   bool
}

func (f svgFrame) x(v float64) float64 {
	if f.logX {
		return f.x0 + f.w*math.Log(v/f.xmin)/math.Log(f.xmax/f.xmin)
	}
	return f.x0 + f.w*(v-f.xmin)/(f.xmax-f.xmin)
}

func (f svgFrame) y(v float64) float64 { return f.y0 + f.h*(f.ymax-v)/(f.ymax-f.ymin) }

// px prints a coordinate with a tenth of a unit.
func px(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// exact prints a number so that it reads back the same.
func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func (f svgFrame) point(x, y float64) string { return px(f.x(x)) + " " + px(f.y(y)) }

// SVG draws the figure for the page: colours and text sizes come from its
// style sheet, groups carry data-g (the number of the legend entry).
func (f Figure) SVG() template.HTML {
	var b strings.Builder
	switch {
	case f.Curves != nil:
		f.svgCurves(&b)
	case f.Map != nil:
		f.svgMap(&b)
	case f.Dots != nil:
		f.svgDots(&b)
	}
	return template.HTML(b.String())
}

func (c *Curves) frame() svgFrame {
	fr := svgFrame{x0: svgLeft, y0: svgTop, w: svgWidth - svgLeft - svgRight, xmin: 20, xmax: 20000, ymin: c.YMin, ymax: c.YMax, logX: true}
	fr.h = fr.w / 2
	if c.DBPerDecade > 0 {
		fr.h = fr.w * (c.YMax - c.YMin) / c.DBPerDecade / 3
	}
	return fr
}

func (f Figure) open(b *strings.Builder, role string, fr svgFrame) {
	fmt.Fprintf(b, `<svg viewBox="0 0 %s %s" role="%s" aria-labelledby="t-%s" data-x0="%s" data-w="%s" data-y0="%s" data-h="%s" data-ymin="%s" data-ymax="%s">`,
		px(svgWidth), px(fr.y0+fr.h+svgBottom), role, f.Name, px(fr.x0), px(fr.w), px(fr.y0), px(fr.h), exact(fr.ymin), exact(fr.ymax))
	fmt.Fprintf(b, `<clipPath id="c-%s"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`, f.Name, px(fr.x0), px(fr.y0), px(fr.w), px(fr.h))
}

// axes draws grid, ticks and labels; ticks without a label are short.
func (fr svgFrame) axes(b *strings.Builder, xt, yt []svgTick, xlabel, ylabel string) {
	b.WriteString(`<g class="grid">`)
	for _, t := range xt {
		if t.label != "" {
			fmt.Fprintf(b, `<path d="M%s %sv%s"/>`, px(fr.x(t.at)), px(fr.y0), px(fr.h))
		}
	}
	for _, t := range yt {
		fmt.Fprintf(b, `<path d="M%s %sh%s"/>`, px(fr.x0), px(fr.y(t.at)), px(fr.w))
	}
	b.WriteString(`</g><g class="tick">`)
	for _, t := range xt {
		long := 3
		if t.label != "" {
			long = 6
		}
		fmt.Fprintf(b, `<path d="M%s %sv%d"/>`, px(fr.x(t.at)), px(fr.y0+fr.h), long)
		if t.label != "" {
			class := ""
			if t.minor {
				class = ` class="m"`
			}
			fmt.Fprintf(b, `<text%s x="%s" y="%s" text-anchor="middle" dy="1.35em">%s</text>`, class, px(fr.x(t.at)), px(fr.y0+fr.h), t.label)
		}
	}
	for _, t := range yt {
		fmt.Fprintf(b, `<path d="M%s %sh-6"/><text x="%s" y="%s" text-anchor="end" dy=".33em">%s</text>`,
			px(fr.x0), px(fr.y(t.at)), px(fr.x0-8), px(fr.y(t.at)), html.EscapeString(t.label))
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="middle">%s</text>`, px(fr.x0+fr.w/2), px(fr.y0+fr.h+svgBottom-6), html.EscapeString(xlabel))
	if ylabel != "" {
		fmt.Fprintf(b, `<text transform="translate(19 %s) rotate(-90)" text-anchor="middle">%s</text>`, px(fr.y0+fr.h/2), html.EscapeString(ylabel))
	}
	fmt.Fprintf(b, `</g><rect class="frame" x="%s" y="%s" width="%s" height="%s"/>`, px(fr.x0), px(fr.y0), px(fr.w), px(fr.h))
}

type svgTick struct {
	at    float64
	label string
	minor bool // left out where room is short
}

func (f Figure) svgCurves(b *strings.Builder) {
	c := f.Curves
	fr := c.frame()
	f.open(b, "img", fr)
	var xt, yt []svgTick
	for _, t := range FrequencyTicks() {
		minor := t.Label != "" && !strings.HasPrefix(t.Label, "1") && t.Value != 20 && t.Value != 20000
		xt = append(xt, svgTick{t.Value, t.Label, minor})
	}
	for _, t := range LevelTicks(c) {
		yt = append(yt, svgTick{at: t.Value, label: t.Label})
	}
	fr.axes(b, xt, yt, "Frequency, Hz", c.YLabel)
	fmt.Fprintf(b, `<g clip-path="url(#c-%s)">`, f.Name)
	groups := f.Groups()
	for pass := range 2 { // bands first, so that lines lie on top
		for n, s := range c.Series {
			g := groupIndex(groups, s.Group)
			class := "t" + strconv.Itoa(s.Style.Tint)
			if s.Style.Thin {
				class += " thin"
			}
			if s.Hidden { // the script draws it from the data when it is asked for
				if pass == 0 && s.Lower != nil {
					fmt.Fprintf(b, `<path class="%s band off" data-g="%d" data-s="%d"/>`, class, g, n)
				} else if pass == 1 {
					fmt.Fprintf(b, `<path class="%s line d%d off" data-g="%d" data-s="%d"/>`, class, s.Style.Dash, g, n)
				}
				continue
			}
			if pass == 0 {
				d := ""
				for _, poly := range BandPolygons(c, s) {
					for i, p := range poly {
						d += pathStep(i) + fr.point(p.X, p.Y)
					}
					d += "Z"
				}
				if d != "" {
					fmt.Fprintf(b, `<path class="%s band" data-g="%d" d="%s"/>`, class, g, d)
				}
				continue
			}
			var d strings.Builder
			for _, run := range Runs(c, s.Y) {
				for i, p := range run {
					d.WriteString(pathStep(i) + fr.point(p.X, p.Y))
				}
			}
			fmt.Fprintf(b, `<path class="%s line d%d" data-g="%d" d="%s"/>`, class, s.Style.Dash, g, d.String())
		}
	}
	fmt.Fprintf(b, `<path class="cur" d="M0 %sv%s"/></g></svg>`, px(fr.y0), px(fr.h))
}

// pathStep begins a path at its first point; later points need no letter but a space.
func pathStep(i int) string {
	switch i {
	case 0:
		return "M"
	case 1:
		return "L"
	}
	return " "
}

func (f Figure) svgMap(b *strings.Builder) {
	m := f.Map
	w := svgWidth - svgLeft - svgRight
	fr := svgFrame{x0: svgLeft, y0: svgTop, w: w, h: w, xmin: -m.Limit, xmax: m.Limit, ymin: -m.Limit, ymax: m.Limit}
	f.open(b, "group", fr)
	var ticks []svgTick
	for _, t := range MapTicks(m.Limit) {
		ticks = append(ticks, svgTick{at: t.Value, label: t.Label})
	}
	fr.axes(b, ticks, ticks, "Forward, mm (nose →)", "Up, mm (crown →)")
	fmt.Fprintf(b, `<g clip-path="url(#c-%s)">`, f.Name)
	if m.Spread != nil {
		b.WriteString(fr.ellipse("spread", *m.Spread, 0, 0))
	}
	if m.ToleranceMM > 0 {
		b.WriteString(fr.ellipse("tol", Ellipse{A: m.ToleranceMM, B: m.ToleranceMM}, 0, 0))
	}
	if m.Mean != nil {
		b.WriteString(fr.ellipse("mean", *m.Mean, 0, 0))
	}
	if m.Marked != nil {
		fmt.Fprintf(b, `<path class="mark" d="M%s %sm-7 0h14m-7 -7v14"/>`, px(fr.x(m.Marked[0])), px(fr.y(m.Marked[1])))
	}
	groups := f.Groups()
	for _, worn := range []bool{true, false} {
		for _, p := range m.Points {
			if p.Worn == worn {
				fr.mapPoint(b, p, groupIndex(groups, p.Group))
			}
		}
	}
	b.WriteString(`</g></svg>`)
}

func (fr svgFrame) mapPoint(b *strings.Builder, p MapPoint, g int) {
	label := p.Name + ": forward " + text.Fixed(p.X, 1) + " mm, up " + text.Fixed(p.Y, 1) + " mm"
	if p.Verdict != "" {
		label += ", " + p.Verdict
	}
	label = html.EscapeString(label)
	if p.Worn {
		fmt.Fprintf(b, `<g class="pt worn" data-g="%d" data-label="%s"><circle cx="%s" cy="%s" r="3"/></g>`, g, label, px(fr.x(p.X)), px(fr.y(p.Y)))
		return
	}
	fmt.Fprintf(b, `<g class="pt %s" data-g="%d" tabindex="0" role="img" aria-label="%s" data-label="%s">`, p.Tone, g, label, label)
	if p.Interval != nil {
		b.WriteString(fr.ellipse("ell", *p.Interval, p.X, p.Y))
	}
	b.WriteString(Glyph(p.Tone, fr.x(p.X), fr.y(p.Y)))
	fmt.Fprintf(b, `<text x="%s" y="%s">%s</text></g>`, px(fr.x(p.X)+9), px(fr.y(p.Y)-6), html.EscapeString(p.Label))
}

// Glyph is the mark of a verdict, the same shapes as toneGlyph.
func Glyph(t table.Tone, x, y float64) string {
	switch t {
	case table.Act:
		return fmt.Sprintf(`<path class="gl" d="M%s %sl6.5 11h-13z"/>`, px(x), px(y-7))
	case table.Unsure:
		return fmt.Sprintf(`<circle class="gl hollow" cx="%s" cy="%s" r="5.5"/>`, px(x), px(y))
	case table.Bad:
		return fmt.Sprintf(`<path class="gl hollow" d="M%s %sl10 10m0 -10l-10 10"/>`, px(x-5), px(y-5))
	}
	return fmt.Sprintf(`<circle class="gl" cx="%s" cy="%s" r="5.5"/>`, px(x), px(y))
}

// ellipse draws e about (x, y); both axes have one scale.
func (fr svgFrame) ellipse(class string, e Ellipse, x, y float64) string {
	perMM := fr.w / (fr.xmax - fr.xmin)
	return fmt.Sprintf(`<ellipse class="%s" rx="%s" ry="%s" transform="translate(%s %s) rotate(%s)"/>`,
		class, px(e.A*perMM), px(e.B*perMM), px(fr.x(x)), px(fr.y(y)), px(-e.Angle*180/math.Pi))
}

func (f Figure) svgDots(b *strings.Builder) {
	d := f.Dots
	lo, hi := d.Min, d.Max
	const row = 26.0
	left := svgLeft + 78
	fr := svgFrame{x0: left, y0: svgTop, w: svgWidth - left - svgRight, h: row * float64(len(d.Rows)), xmin: lo, xmax: hi, ymin: -float64(len(d.Rows)) + 0.5, ymax: 0.5}
	f.open(b, "img", fr)
	var xt, yt []svgTick
	for _, t := range ValueTicks(lo, hi, GridStep(0, hi-lo)) {
		xt = append(xt, svgTick{at: t.Value, label: t.Label})
	}
	for i, r := range d.Rows {
		yt = append(yt, svgTick{at: -float64(i), label: r.Name})
	}
	fr.axes(b, xt, yt, d.XLabel, "")
	if d.Band != nil {
		fmt.Fprintf(b, `<rect class="spread" x="%s" y="%s" width="%s" height="%s"/><path class="mean" d="M%s %sv%s"/>`,
			px(fr.x(d.Band[0])), px(fr.y0), px(fr.x(d.Band[2])-fr.x(d.Band[0])), px(fr.h), px(fr.x(d.Band[1])), px(fr.y0), px(fr.h))
	}
	for i, r := range d.Rows {
		y := fr.y(-float64(i))
		label := r.Name + ": " + text.Interval(r.Est, r.Lower, r.Upper) + " " + d.Unit
		if r.Verdict != "" {
			label += ", " + r.Verdict
		}
		fmt.Fprintf(b, `<g class="pt %s" data-label="%s"><path class="hit" d="M%s %sh%sv%sh-%sz"/><path class="bar" d="M%s %sH%s"/>%s</g>`,
			r.Tone, html.EscapeString(label), px(fr.x0), px(y-row/2), px(fr.w), px(row), px(fr.w),
			px(fr.x(r.Lower)), px(y), px(fr.x(r.Upper)), Glyph(r.Tone, fr.x(r.Est), y))
	}
	b.WriteString(`</svg>`)
}
