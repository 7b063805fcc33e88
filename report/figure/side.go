package figure

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
)

// Side is a side view of a head, nose to the right, with an arrow for each cup from
// where a seating sits to where it should: the sample mean, in the middle of the ear.
// The arrows are drawn larger than the head; a bar gives their scale.
type Side struct {
	Label       string // in words, for the screen reader
	ToleranceMM float64
	LimitMM     float64    // what is as long as the view has room for; views that are compared share it
	Cups        [2]SideCup // left, right
}

// SideCup is one cup's offset from the sample mean, mm forward and up.
type SideCup struct {
	Offset [2]float64
	Seen   bool // false: not known, and nothing is drawn
}

// The side view: its head looks to the right, the middle of its ear is at
// (sideX, sideY) of the view box, and the longest arrow has sideReach.
const (
	sideX, sideY = 100.0, 124.0
	sideReach    = 74.0
	headPath     = "M60 238C62 214 50 200 38 176C14 142 12 90 38 56C62 26 102 14 136 24C166 34 180 58 181 86C182 96 184 102 188 110L201 134C204 140 200 144 192 144L193 152C197 156 197 159 192 161C196 165 195 169 190 171C187 176 190 182 187 190C183 202 166 204 150 202C142 212 140 226 140 238"
	earPath      = "M94 100C78 102 74 124 82 138C86 146 88 154 98 152C108 150 106 140 110 132C120 116 114 98 94 100M102 108C90 108 88 120 92 130"
)

// SVG draws the view for the page; its style sheet gives colours.
func (s Side) SVG() template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="side" viewBox="0 0 224 244" role="img" aria-label="%s"><path class="head" d="%s"/><path class="pinna" d="%s"/>`,
		html.EscapeString(s.Label), headPath, earPath)
	perMM := sideReach / s.LimitMM
	if s.ToleranceMM > 0 {
		fmt.Fprintf(&b, `<circle class="tol" cx="%s" cy="%s" r="%s"/>`, px(sideX), px(sideY), px(s.ToleranceMM*perMM))
	}
	for i, c := range s.Cups {
		if c.Seen {
			s.arrow(&b, i, c, perMM)
		}
	}
	fmt.Fprintf(&b, `<path class="mean" d="M%s %sh8m-4 -4v8"/>`, px(sideX-4), px(sideY))
	bar := math.Max(1, math.Floor(s.LimitMM/2))
	fmt.Fprintf(&b, `<path class="scale" d="M150 236v-6m0 3h%sm0 -3v6"/><text x="%s" y="237">%s mm</text><text x="222" y="16" text-anchor="end">nose →</text></svg>`,
		px(bar*perMM), px(155+bar*perMM), px(bar))
	return template.HTML(b.String())
}

// arrow goes from the cup to the middle: the move to make. The left cup's is full,
// the right cup's dashed and hollow, so that one shows through the other; an arrow
// shorter than its own head is a mark alone.
func (s Side) arrow(b *strings.Builder, i int, c SideCup, perMM float64) {
	dx, dy := c.Offset[0]*perMM, -c.Offset[1]*perMM
	long := math.Hypot(dx, dy)
	if most := sideReach * 1.2; long > most { // beyond the view
		dx, dy, long = dx*most/long, dy*most/long, most
	}
	x, y := sideX+dx, sideY+dy
	name, tint := "L", 1
	if i == 1 {
		name, tint = "R", 2
	}
	fmt.Fprintf(b, `<g class="t%d">`, tint)
	const head, half, apart = 11.0, 4.5, 12.0
	ux, uy := -1.0, 0.0
	if long > 0 {
		ux, uy = -dx/long, -dy/long
	}
	dash, solid := "", "fill"
	if i == 1 {
		dash, solid = " d2", "line"
	}
	if long > head {
		fmt.Fprintf(b, `<path class="line%s" d="M%s %sL%s %s"/><path class="%s" d="M%s %sL%s %sL%s %sZ"/>`, dash, px(x), px(y), px(sideX-ux*head), px(sideY-uy*head),
			solid, px(sideX), px(sideY), px(sideX-ux*head-uy*half), px(sideY-uy*head+ux*half), px(sideX-ux*head+uy*half), px(sideY-uy*head-ux*half))
	}
	if i == 0 {
		fmt.Fprintf(b, `<circle class="fill" cx="%s" cy="%s" r="3.5"/>`, px(x), px(y))
	} else {
		fmt.Fprintf(b, `<path class="line" d="M%s %sh10v10h-10z"/>`, px(x-5), px(y-5))
	}
	// A name stands beside its arrow, on the side where the other cup is not.
	nx, ny := -uy*apart, ux*apart
	o := s.Cups[1-i].Offset
	away := nx*(c.Offset[0]-o[0]) - ny*(c.Offset[1]-o[1])
	if away == 0 { // both in one line: the left's above it, the right's below
		away = -ny - nx
		if i == 1 {
			away = -away
		}
	}
	if away < 0 {
		nx, ny = -nx, -ny
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" text-anchor="middle" dy=".35em">%s</text></g>`, px(x+nx), px(y+ny), name)
}
