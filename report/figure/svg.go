package figure

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"asworn/report/table"
)

// The drawing area of a figure on the page, in units of its view box. Text is
// sized in CSS, so that it stays readable on a phone.
const (
	svgWidth  = 640.0
	svgLeft   = 92.0 // numbers as "−0.4" and the name of the axis, at the largest text
	svgRight  = 24.0
	svgTop    = 12.0
	svgBottom = 58.0
	svgRow    = 26.0
	svgLetter = 12.5 // what a letter takes at the largest text
	svgNames  = 20   // letters of a row's name; the whole of it stands in the table of the figure
)

// svgFrame maps a scene to the view box.
type svgFrame struct {
	x, y         Axis
	x0, y0, w, h float64
}

func frameOf(s Scene) svgFrame {
	fr := svgFrame{x: s.X, y: s.Y, x0: svgLeft, y0: svgTop}
	if s.Rows > 0 {
		for _, t := range s.Y.Ticks {
			fr.x0 = max(fr.x0, svgLetter*float64(min(utf8.RuneCountInString(t.Label), svgNames))+14)
		}
	}
	fr.w = svgWidth - fr.x0 - svgRight
	fr.h = fr.w * s.Aspect
	if s.Rows > 0 {
		fr.h = svgRow * float64(s.Rows)
	}
	return fr
}

func (f svgFrame) px(v float64) float64 { return f.x0 + f.w*f.x.At(v) }
func (f svgFrame) py(v float64) float64 { return f.y0 + f.h*(1-f.y.At(v)) }

// short cuts a name to svgNames letters, out of its middle: names differ at their ends.
func short(name string) string {
	if r := []rune(name); len(r) > svgNames {
		return string(r[:svgNames/2]) + "…" + string(r[len(r)-svgNames/2+1:])
	}
	return name
}

// px prints a coordinate with a tenth of a unit.
func px(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// exact prints a number so that it reads back the same.
func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// SVG draws the figure for the page: colours and text sizes come from its
// style sheet, groups carry data-g (the number of the legend entry).
func (f Figure) SVG() template.HTML {
	s := f.Scene()
	fr := frameOf(s)
	role := "img"
	if f.Map != nil {
		role = "group"
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %s %s" role="%s" aria-labelledby="t-%s" data-x0="%s" data-w="%s" data-y0="%s" data-h="%s" data-ymin="%s" data-ymax="%s">`,
		px(svgWidth), px(fr.y0+fr.h+svgBottom), role, f.Name, px(fr.x0), px(fr.w), px(fr.y0), px(fr.h), exact(s.Y.Min), exact(s.Y.Max))
	fmt.Fprintf(&b, `<clipPath id="c-%s"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`, f.Name, px(fr.x0), px(fr.y0), px(fr.w), px(fr.h))
	fr.axes(&b)
	fmt.Fprintf(&b, `<g clip-path="url(#c-%s)">`, f.Name)
	for _, shape := range s.Shapes {
		fr.shape(&b, shape)
	}
	if f.Curves != nil {
		fmt.Fprintf(&b, `<path class="cur" d="M0 %sv%s"/>`, px(fr.y0), px(fr.h))
	}
	b.WriteString(`</g></svg>`)
	return template.HTML(b.String())
}

// axes draws grid, ticks and labels; ticks without a label are short.
func (fr svgFrame) axes(b *strings.Builder) {
	b.WriteString(`<g class="grid">`)
	for _, t := range fr.x.Ticks {
		if t.Label != "" {
			fmt.Fprintf(b, `<path d="M%s %sv%s"/>`, px(fr.px(t.Value)), px(fr.y0), px(fr.h))
		}
	}
	for _, t := range fr.y.Ticks {
		fmt.Fprintf(b, `<path d="M%s %sh%s"/>`, px(fr.x0), px(fr.py(t.Value)), px(fr.w))
	}
	b.WriteString(`</g><g class="tick">`)
	for _, t := range fr.x.Ticks {
		long := 3
		if t.Label != "" {
			long = 6
		}
		fmt.Fprintf(b, `<path d="M%s %sv%d"/>`, px(fr.px(t.Value)), px(fr.y0+fr.h), long)
		if t.Label != "" {
			class := ""
			if t.Minor {
				class = ` class="m"`
			}
			fmt.Fprintf(b, `<text%s x="%s" y="%s" text-anchor="middle" dy="1.35em">%s</text>`, class, px(fr.px(t.Value)), px(fr.y0+fr.h), t.Label)
		}
	}
	for _, t := range fr.y.Ticks {
		fmt.Fprintf(b, `<path d="M%s %sh-6"/><text x="%s" y="%s" text-anchor="end" dy=".33em">%s</text>`,
			px(fr.x0), px(fr.py(t.Value)), px(fr.x0-8), px(fr.py(t.Value)), html.EscapeString(short(t.Label)))
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="middle">%s</text>`, px(fr.x0+fr.w/2), px(fr.y0+fr.h+svgBottom-6), html.EscapeString(fr.x.Label))
	name := func(class, words string) {
		fmt.Fprintf(b, `<text%s transform="translate(19 %s) rotate(-90)" text-anchor="middle">%s</text>`, class, px(fr.y0+fr.h/2), html.EscapeString(words))
	}
	switch label := fr.y.Label; {
	case label == "":
	case svgLetter*float64(utf8.RuneCountInString(label)) <= fr.h+2*svgTop:
		name("", label)
	default: // of which the unit has room where text is large
		name(` class="whole"`, label)
		name(` class="unit"`, label[strings.LastIndex(label, ", ")+1:])
	}
	fmt.Fprintf(b, `</g><rect class="frame" x="%s" y="%s" width="%s" height="%s"/>`, px(fr.x0), px(fr.y0), px(fr.w), px(fr.h))
}

func (fr svgFrame) shape(b *strings.Builder, s Shape) {
	switch s := s.(type) {
	case Area:
		fr.member(b, s.Of, "band", s.Polys, "Z")
	case Line:
		fr.member(b, s.Of, "line d"+strconv.Itoa(s.Of.Style.Dash), s.Runs, "")
	case Outline:
		b.WriteString(fr.ellipse([...]string{Scatter: "spread", Tolerance: "tol", Mean: "mean"}[s.Role], s.Ellipse, Point{}))
	case Stripe:
		fmt.Fprintf(b, `<rect class="spread" x="%s" y="%s" width="%s" height="%s"/><path class="mean" d="M%s %sv%s"/>`,
			px(fr.px(s.Lower)), px(fr.y0), px(fr.px(s.Upper)-fr.px(s.Lower)), px(fr.h), px(fr.px(s.Middle)), px(fr.y0), px(fr.h))
	case Cross:
		fmt.Fprintf(b, `<path class="mark" d="M%s %sm-7 0h14m-7 -7v14"/>`, px(fr.px(s.At.X)), px(fr.py(s.At.Y)))
	case Mark:
		fr.mark(b, s)
	}
}

// member draws a series; the page's script draws a hidden one from its data
// when it is asked for.
func (fr svgFrame) member(b *strings.Builder, of Member, class string, paths [][]Point, end string) {
	class = "t" + strconv.Itoa(of.Style.Tint) + map[bool]string{true: " thin"}[of.Style.Thin] + " " + class
	if of.Hidden {
		fmt.Fprintf(b, `<path class="%s off" data-g="%d" data-s="%d"/>`, class, of.Group, of.Series)
		return
	}
	fmt.Fprintf(b, `<path class="%s" data-g="%d" d="`, class, of.Group)
	for _, path := range paths {
		for i, p := range path {
			b.WriteString([...]string{"M", "L", " "}[min(i, 2)]) // later points need no letter but a space
			b.WriteString(px(fr.px(p.X)) + " " + px(fr.py(p.Y)))
		}
		b.WriteString(end)
	}
	b.WriteString(`"/>`)
}

func (fr svgFrame) mark(b *strings.Builder, m Mark) {
	x, y := fr.px(m.At.X), fr.py(m.At.Y)
	sx, sy := fr.px(m.Shown.X), fr.py(m.Shown.Y)
	label := html.EscapeString(m.Label)
	switch {
	case m.Worn:
		fmt.Fprintf(b, `<g class="pt worn" data-g="%d" data-label="%s"><path d="%s"/></g>`, m.Group, label, WornMark(m.Shape, x, y))
		return
	case m.Bar != nil:
		fmt.Fprintf(b, `<g class="pt %s" data-label="%s"><path class="hit" d="M%s %sh%sv%sh-%sz"/><path class="bar" d="M%s %sH%s"/>`,
			m.Tone, label, px(fr.x0), px(y-svgRow/2), px(fr.w), px(svgRow), px(fr.w), px(fr.px(m.Bar.Lower)), px(y), px(fr.px(m.Bar.Upper)))
	default:
		fmt.Fprintf(b, `<g class="pt %s" data-g="%d" tabindex="0" role="img" aria-label="%s" data-label="%s">`, m.Tone, m.Group, label, label)
	}
	if m.Area != nil {
		b.WriteString(fr.ellipse("ell", *m.Area, m.At))
	}
	if m.Shown != m.At {
		fmt.Fprintf(b, `<path class="lead" d="M%s %sL%s %s"/><circle class="gl" cx="%s" cy="%s" r="1.5"/>`, px(x), px(y), px(sx), px(sy), px(x), px(y))
	}
	b.WriteString(Glyph(m.Tone, sx, sy))
	if m.Text != "" {
		fmt.Fprintf(b, `<text x="%s" y="%s" dy=".35em">%s</text>`, px(sx+9), px(sy), html.EscapeString(m.Text))
	}
	b.WriteString(`</g>`)
}

// WornMark is the path of a worn seating's mark about a place.
func WornMark(shape int, x, y float64) string {
	var b strings.Builder
	for i, p := range WornShape(shape) {
		b.WriteString([...]string{"M", "L"}[min(i, 1)] + px(x+3.6*p.X) + " " + px(y-3.6*p.Y))
	}
	return b.String() + "Z"
}

// Glyph is the mark of a verdict: disc use, triangle move or reseal, ring
// undetermined, cross refused.
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

// ellipse draws e about a point; both axes have one scale.
func (fr svgFrame) ellipse(class string, e Ellipse, at Point) string {
	perMM := fr.w / (fr.x.Max - fr.x.Min)
	return fmt.Sprintf(`<ellipse class="%s" rx="%s" ry="%s" transform="translate(%s %s) rotate(%s)"/>`,
		class, px(e.A*perMM), px(e.B*perMM), px(fr.px(at.X)), px(fr.py(at.Y)), px(-e.Angle*180/math.Pi))
}
