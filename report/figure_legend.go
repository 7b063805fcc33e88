package report

import (
	"bytes"
	"math"
	"slices"
	"strconv"
)

// Group is one entry of a figure's legend: what is shown and hidden together.
type Group struct {
	Name   string
	Style  Style
	Band   bool
	Wide   bool // some of its values come with limits: a row of its own
	Tone   Tone
	Point  bool // a mark, not a line
	Worn   bool // a small dot
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
					add(Group{Name: p.Group, Tone: p.Tone, Point: true, Worn: worn})
				}
			}
		}
	}
	return out
}

func groupIndex(groups []Group, name string) int {
	return slices.IndexFunc(groups, func(g Group) bool { return g.Name == name })
}

// figureData is what the page's script needs for hover: frequencies and, per
// series, its legend entry and values.
type figureData struct {
	Hz     levelList    `json:"hz,omitempty"`
	Unit   string       `json:"unit,omitempty"`
	Digits int          `json:"digits"`
	Series []seriesData `json:"series,omitempty"`
}

type seriesData struct {
	Name  string    `json:"n"`
	Group int       `json:"g"`
	Y     levelList `json:"y"`
	Lower levelList `json:"lo,omitempty"`
	Upper levelList `json:"hi,omitempty"`
}

// levelList is written with few digits and null for NaN.
type levelList []float64

// MarshalJSON writes numbers with at most three decimals.
func (l levelList) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('[')
	for i, v := range l {
		if i > 0 {
			b.WriteByte(',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			b.WriteString("null")
			continue
		}
		b.WriteString(strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64))
	}
	b.WriteByte(']')
	return b.Bytes(), nil
}

func (f Figure) data() figureData {
	c := f.Curves
	if c == nil {
		return figureData{}
	}
	d := figureData{Hz: c.Hz, Unit: c.Unit, Digits: c.Decimals}
	groups := f.Groups()
	for _, s := range c.Series {
		d.Series = append(d.Series, seriesData{Name: s.Name, Group: groupIndex(groups, s.Group), Y: s.Y, Lower: s.Lower, Upper: s.Upper})
	}
	return d
}

// Table is the table behind the plot: for curves one row per third octave, the
// kept band nearest its mid-band frequency.
func (f Figure) Table() Table {
	t := Table{Name: f.Name, Title: f.Title}
	switch {
	case f.Curves != nil:
		c := f.Curves
		t.Columns = []Column{{Head: "Frequency, Hz", Key: "frequency_hz", Kind: Number, Repeat: true}}
		for _, s := range c.Series {
			k := Number
			if s.Lower != nil {
				k = Interval
			}
			t.Columns = append(t.Columns, Column{Head: s.Name + ", " + c.Unit, Key: slug(s.Name), Kind: k})
		}
		for _, i := range thirdRows(c.Hz) {
			row := []Cell{{Text: plainHertz(c.Hz[i]), Num: []float64{c.Hz[i]}}}
			for _, s := range c.Series {
				row = append(row, c.cell(s, i))
			}
			t.Rows = append(t.Rows, row)
		}
	case f.Map != nil:
		t.Columns = []Column{{Head: "Seating", Key: "seating", Repeat: true}, {Head: "Verdict", Key: "verdict"},
			{Head: "Forward, mm", Key: "forward_mm", Kind: Interval}, {Head: "Up, mm", Key: "up_mm", Kind: Interval}}
		for _, p := range f.Map.Points {
			x, y := number(p.X, 1), number(p.Y, 1)
			if p.Interval != nil {
				hx, hy := p.Interval.extent()
				x, y = spread(p.X, hx), spread(p.Y, hy)
			}
			t.add(linked(p.Name, p.Link), toned(dash(p.Verdict), p.Tone), x, y)
		}
	case f.Dots != nil:
		t.Columns = []Column{{Head: "Name", Key: "name", Repeat: true}, {Head: f.Dots.XLabel, Key: "value", Kind: Interval}, {Head: "Verdict", Key: "verdict"}}
		for _, r := range f.Dots.Rows {
			t.add(linked(r.Name, r.Link), interval(r.Est, r.Lower, r.Upper), toned(dash(r.Verdict), r.Tone))
		}
	}
	return t
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// extent is half the ellipse's width and height.
func (e Ellipse) extent() (x, y float64) {
	c, s := math.Cos(e.Angle), math.Sin(e.Angle)
	return math.Hypot(e.A*c, e.B*s), math.Hypot(e.A*s, e.B*c)
}

func (c *Curves) cell(s Series, i int) Cell {
	if math.IsNaN(s.Y[i]) {
		return none()
	}
	if s.Lower == nil {
		return number(s.Y[i], c.Decimals)
	}
	return Cell{Text: fixed(s.Y[i], c.Decimals) + " (" + fixed(s.Lower[i], c.Decimals) + "…" + fixed(s.Upper[i], c.Decimals) + ")",
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

// plainHertz prints a frequency with three digits.
func plainHertz(f float64) string {
	e := math.Pow(10, math.Floor(math.Log10(f))-2)
	return strconv.FormatFloat(math.Round(f/e)*e, 'f', max(0, -int(math.Floor(math.Log10(e)))), 64)
}

// LastBand is the index of the highest frequency, StartBand that nearest 1 kHz.
func (f Figure) LastBand() int { return len(f.Curves.Hz) - 1 }

// StartBand is where the page's cursor begins.
func (f Figure) StartBand() int {
	for i, hz := range f.Curves.Hz {
		if hz >= 990 {
			return i
		}
	}
	return 0
}
