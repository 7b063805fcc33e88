package figure

import (
	"math"
	"slices"

	"asworn/report/table"
	"asworn/report/text"
)

// Group is one entry of a figure's legend: what is shown and hidden together.
type Group struct {
	Name   string
	Style  Style
	Band   bool
	Wide   bool // some of its values come with limits: a row of its own
	Tone   table.Tone
	Point  bool // a mark, not a line
	Worn   bool // a small mark
	Shape  int  // of it: WornShape
	Hidden bool
}

// Groups returns the legend of the figure in drawing order.
func (f Figure) Groups() []Group {
	var out []Group
	add := func(g Group) {
		if i := groupIndex(out, g.Name); i >= 0 {
			out[i].Wide = out[i].Wide || g.Wide
			return
		}
		out = append(out, g)
	}
	switch {
	case f.Curves != nil:
		for _, s := range f.Curves.Series {
			add(Group{Name: s.Group, Style: s.Style, Band: s.Lower != nil, Wide: s.Lower != nil, Hidden: s.Hidden})
		}
	case f.Map != nil:
		for _, worn := range []bool{false, true} {
			for _, p := range f.Map.Points {
				if p.Worn == worn {
					add(Group{Name: p.Group, Tone: p.Tone, Point: true, Worn: worn, Shape: p.Shape})
				}
			}
		}
	}
	return out
}

// Key is one entry of the legend of a plot file, or of what a page's legend of groups
// leaves unsaid: exactly one of its kinds.
type Key struct {
	Name   string
	Line   *Group // a line with or without a band
	Mark   bool   // a verdict, of Tone
	Tone   table.Tone
	Worn   bool // a listener, of Shape
	Shape  int
	Cross  bool // the marked position
	Area   bool // a range or scatter
	Circle *Role
}

// Tolerance reports whether the entry is the circle of the tolerance.
func (k Key) Tolerance() bool { return k.Circle != nil && *k.Circle == Tolerance }

// Keys are all entries of the legend: of what is drawn at first.
func (f Figure) Keys() []Key {
	out := f.Marks()
	if f.Curves != nil {
		return append(out, f.Curves.keys()...)
	}
	for _, g := range f.Groups() {
		if g.Worn && !g.Hidden {
			out = append(out, Key{Name: g.Name, Worn: true, Shape: g.Shape})
		}
	}
	return out
}

// keys has an entry for each group that is drawn at first, and one for each of its
// lines where those differ.
func (c *Curves) keys() []Key {
	styles := map[string]map[Style]bool{}
	for _, s := range c.Series {
		if !s.Hidden {
			if styles[s.Group] == nil {
				styles[s.Group] = map[Style]bool{}
			}
			styles[s.Group][s.Style] = true
		}
	}
	var out []Key
	for _, s := range c.Series {
		name := s.Group
		if len(styles[s.Group]) > 1 {
			name = s.Name
		}
		if !s.Hidden && !slices.ContainsFunc(out, func(k Key) bool { return k.Name == name }) {
			out = append(out, Key{Name: name, Line: &Group{Name: name, Style: s.Style, Band: s.Lower != nil}})
		}
	}
	return out
}

// Marks are the entries that say what marks, outlines and areas of a map or dot plot
// stand for.
func (f Figure) Marks() []Key {
	var out []Key
	verdict := func(name string, tone table.Tone) {
		if name != "" && !slices.ContainsFunc(out, func(k Key) bool { return k.Name == name }) {
			out = append(out, Key{Name: name, Mark: true, Tone: tone})
		}
	}
	outline := func(r Role, name string) { out = append(out, Key{Name: name, Circle: &r}) }
	switch {
	case f.Map != nil:
		for _, p := range f.Map.Points {
			verdict(p.Verdict, p.Tone)
		}
		if f.Map.ToleranceMM > 0 {
			outline(Tolerance, "tolerance")
		}
		if f.Map.Mean != nil {
			outline(Mean, "interval of the sample mean")
		}
		if f.Map.Spread != nil {
			out = append(out, Key{Name: "standard deviation of worn seatings", Area: true})
		}
		if f.Map.Marked != nil {
			out = append(out, Key{Name: "marked position", Cross: true})
		}
	case f.Dots != nil:
		for _, r := range f.Dots.Rows {
			verdict(r.Verdict, r.Tone)
		}
		if f.Dots.Band != nil {
			out = append(out, Key{Name: f.Dots.BandName, Area: true})
		}
	}
	return out
}

func groupIndex(groups []Group, name string) int {
	return slices.IndexFunc(groups, func(g Group) bool { return g.Name == name })
}

// Table is the table behind the plot: for curves one row per third octave, the
// kept band nearest its mid-band frequency.
func (f Figure) Table() table.Table {
	t := table.Table{Name: f.Name, Title: f.Title}
	switch {
	case f.Curves != nil:
		c := f.Curves
		t.Columns = []table.Column{{Head: "Frequency, Hz", Key: "frequency_hz", Kind: table.Number, Repeat: true}}
		for _, s := range c.Series {
			k := table.Number
			if s.Lower != nil {
				k = table.Interval
			}
			t.Columns = append(t.Columns, table.Column{Head: s.Name + ", " + c.Unit, Key: text.Slug(s.Name), Kind: k})
		}
		for _, i := range thirdRows(c.Hz) {
			row := []table.Cell{{Text: text.PlainHertz(c.Hz[i]), Num: []float64{c.Hz[i]}}}
			for _, s := range c.Series {
				row = append(row, c.cell(s, i))
			}
			t.Rows = append(t.Rows, row)
		}
	case f.Map != nil:
		t.Columns = []table.Column{{Head: "Seating", Key: "seating", Repeat: true}, {Head: "Verdict", Key: "verdict"},
			{Head: "Forward, mm", Key: "forward_mm", Kind: table.Interval}, {Head: "Up, mm", Key: "up_mm", Kind: table.Interval}}
		for _, p := range f.Map.Points {
			x, y := table.Value(p.X, 1), table.Value(p.Y, 1)
			if p.Interval != nil {
				hx, hy := p.Interval.extent()
				x, y = table.PlusMinus(p.X, hx), table.PlusMinus(p.Y, hy)
			}
			t.Add(table.Linked(p.Name, p.Link), table.Toned(text.Dash(p.Verdict), p.Tone), x, y)
		}
	case f.Dots != nil:
		t.Columns = []table.Column{{Head: "Name", Key: "name", Repeat: true}, {Head: f.Dots.XLabel, Key: "value", Kind: table.Interval}, {Head: "Verdict", Key: "verdict"}}
		for _, r := range f.Dots.Rows {
			t.Add(table.Linked(r.Name, r.Link), table.Between(r.Est, r.Lower, r.Upper), table.Toned(text.Dash(r.Verdict), r.Tone))
		}
	}
	return t
}

// extent is half the ellipse's width and height.
func (e Ellipse) extent() (x, y float64) {
	c, s := math.Cos(e.Angle), math.Sin(e.Angle)
	return math.Hypot(e.A*c, e.B*s), math.Hypot(e.A*s, e.B*c)
}

func (c *Curves) cell(s Series, i int) table.Cell {
	if math.IsNaN(s.Y[i]) {
		return table.None()
	}
	if s.Lower == nil {
		return table.Value(s.Y[i], c.Decimals)
	}
	return table.Cell{Text: text.Fixed(s.Y[i], c.Decimals) + " (" + text.Fixed(s.Lower[i], c.Decimals) + "…" + text.Fixed(s.Upper[i], c.Decimals) + ")",
		Num: []float64{s.Y[i], s.Lower[i], s.Upper[i]}}
}

// thirdRows picks the entry nearest each third-octave mid-band frequency.
func thirdRows(hz []float64) []int {
	var out []int
	for x := -17; x <= 13; x++ {
		want := 1000 * math.Pow(10, float64(x)/10)
		best := -1
		for i, f := range hz {
			if best < 0 || math.Abs(math.Log(f/want)) < math.Abs(math.Log(hz[best]/want)) {
				best = i
			}
		}
		if best >= 0 && math.Abs(math.Log(hz[best]/want)) < 0.05 && (len(out) == 0 || out[len(out)-1] != best) {
			out = append(out, best)
		}
	}
	return out
}
