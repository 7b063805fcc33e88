package figure

import (
	"math"
	"slices"

	"asworn/report/text"
)

// Scene lays the figure out.
func (f Figure) Scene() Scene {
	switch {
	case f.Curves != nil:
		return f.Curves.scene(f.Groups())
	case f.Map != nil:
		return f.Map.scene(f.Groups())
	case f.Dots != nil:
		return f.Dots.scene()
	}
	return Scene{}
}

func (c *Curves) scene(groups []Group) Scene {
	s := Scene{Aspect: 0.5,
		X: Axis{Label: "Frequency, Hz", Min: lowestHz, Max: highestHz, Log: true, Ticks: frequencyTicks()},
		Y: Axis{Label: c.YLabel, Min: c.YMin, Max: c.YMax, Ticks: valueTicks(c.YMin, c.YMax, gridStep(c.DBPerDecade, c.YMax-c.YMin))}}
	if c.DBPerDecade > 0 {
		s.Aspect = (c.YMax - c.YMin) / c.DBPerDecade / 3
	}
	var lines, top []Shape
	for i, y := range c.Series {
		of := Member{Series: i, Group: groupIndex(groups, y.Group), Style: y.Style, Hidden: y.Hidden}
		if polys := c.areas(y); polys != nil {
			s.Shapes = append(s.Shapes, Area{Of: of, Polys: polys})
		}
		line := Line{Of: of, Name: y.Name, Runs: c.runs(y.Y)}
		if y.Top {
			top = append(top, line)
		} else {
			lines = append(lines, line)
		}
	}
	s.Shapes = append(append(s.Shapes, lines...), top...)
	return s
}

// runs cuts a curve where it has nothing to draw.
func (c *Curves) runs(y []float64) [][]Point {
	var out [][]Point
	var run []Point
	flush := func() {
		if len(run) > 1 {
			out = append(out, run)
		}
		run = nil
	}
	for i, v := range y {
		if math.IsNaN(v) || c.Hz[i] < lowestHz*0.95 || c.Hz[i] > highestHz*1.03 {
			flush()
			continue
		}
		run = append(run, Point{min(max(c.Hz[i], lowestHz), highestHz), v})
	}
	flush()
	return out
}

// areas are the polygons between the limits of a series, inside the axes.
func (c *Curves) areas(s Series) [][]Point {
	if s.Lower == nil {
		return nil
	}
	lower, upper := c.runs(c.clamped(s.Lower)), c.runs(c.clamped(s.Upper))
	var out [][]Point
	for i := range min(len(lower), len(upper)) {
		slices.Reverse(lower[i])
		out = append(out, append(upper[i], lower[i]...))
	}
	return out
}

func (c *Curves) clamped(y []float64) []float64 {
	out := make([]float64, len(y))
	for i, v := range y {
		out[i] = min(max(v, c.YMin), c.YMax) // NaN stays NaN
	}
	return out
}

func (m *OffsetMap) scene(groups []Group) Scene {
	ticks := mapTicks(m.Limit)
	s := Scene{Aspect: 1,
		X: Axis{Label: "Forward (toward the nose), mm", Min: -m.Limit, Max: m.Limit, Ticks: ticks},
		Y: Axis{Label: "Up (toward the crown), mm", Min: -m.Limit, Max: m.Limit, Ticks: ticks}}
	if m.Spread != nil {
		s.Shapes = append(s.Shapes, Outline{Scatter, *m.Spread})
	}
	if m.ToleranceMM > 0 {
		s.Shapes = append(s.Shapes, Outline{Tolerance, Ellipse{A: m.ToleranceMM, B: m.ToleranceMM}})
	}
	if m.Mean != nil {
		s.Shapes = append(s.Shapes, Outline{Mean, *m.Mean})
	}
	if m.Marked != nil {
		s.Shapes = append(s.Shapes, Cross{Point{m.Marked[0], m.Marked[1]}})
	}
	var at []Point // of those with a number, as shares of the axes
	for _, p := range m.Points {
		if !p.Worn {
			at = append(at, Point{s.X.At(p.X), s.Y.At(p.Y)})
		}
	}
	shown := apart(at)
	n := 0
	for _, worn := range []bool{true, false} {
		for _, p := range m.Points {
			if p.Worn != worn {
				continue
			}
			label := p.Name + ": forward " + text.Fixed(p.X, 1) + " mm, up " + text.Fixed(p.Y, 1) + " mm"
			if p.Verdict != "" {
				label += ", " + p.Verdict
			}
			mark := Mark{At: Point{p.X, p.Y}, Shown: Point{p.X, p.Y}, Tone: p.Tone, Group: groupIndex(groups, p.Group), Worn: worn, Shape: p.Shape,
				Area: p.Interval, Text: p.Label, Label: label}
			if !worn {
				if shown[n] != at[n] {
					mark.Shown = Point{s.X.of(shown[n].X), s.Y.of(shown[n].Y)}
				}
				n++
			}
			s.Shapes = append(s.Shapes, mark)
		}
	}
	return s
}

func (d *Dots) scene() Scene {
	n := len(d.Rows)
	s := Scene{Rows: n,
		X: Axis{Label: d.XLabel, Min: d.Min, Max: d.Max, Ticks: valueTicks(d.Min, d.Max, gridStep(0, d.Max-d.Min))},
		Y: Axis{Min: 0.5 - float64(n), Max: 0.5}}
	if b := d.Band; b != nil {
		s.Shapes = append(s.Shapes, Stripe{b[0], b[1], b[2]})
	}
	for i, r := range d.Rows {
		y := -float64(i)
		s.Y.Ticks = append(s.Y.Ticks, Tick{Value: y, Label: r.Name})
		label := r.Name + ": " + text.Interval(r.Est, r.Lower, r.Upper) + " " + d.Unit
		if r.Verdict != "" {
			label += ", " + r.Verdict
		}
		s.Shapes = append(s.Shapes, Mark{At: Point{r.Est, y}, Shown: Point{r.Est, y}, Tone: r.Tone, Bar: &Range{r.Lower, r.Upper}, Label: label})
	}
	return s
}
