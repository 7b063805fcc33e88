package figure

import "math"

// The room that a mark with its number takes in a map, as a share of the axes:
// measured on a map of 88 mm, the least that is printed. A number is to the right of
// its mark.
const (
	markLeft   = 0.02
	markRight  = 0.085
	markHalf   = 0.026
	markStep   = 0.03
	markAround = 16 // directions that are tried
	markRings  = 14
)

// apart says where marks are drawn so that none covers another: each in its own
// place where that is free, else at the nearest free place. Places are shares of the
// axes, and stay within them; one that finds no room stays where it is.
func apart(at []Point) []Point {
	out := make([]Point, len(at))
	free := func(p Point, of []Point) bool {
		if p.X < markLeft || p.X > 1-markRight || p.Y < markHalf || p.Y > 1-markHalf {
			return false
		}
		for _, q := range of {
			if math.Abs(p.Y-q.Y) < 2*markHalf && p.X-q.X < markLeft+markRight && q.X-p.X < markLeft+markRight {
				return false
			}
		}
		return true
	}
	for i, p := range at {
		out[i] = p
		if free(p, out[:i]) {
			continue
		}
	search:
		for ring := 1; ring <= markRings; ring++ {
			for k := range markAround {
				a := 2 * math.Pi * float64(k) / markAround
				q := Point{p.X + markStep*float64(ring)*math.Cos(a), p.Y + markStep*float64(ring)*math.Sin(a)}
				if free(q, out[:i]) {
					out[i] = q
					break search
				}
			}
		}
	}
	return out
}

// WornShapes is how many shapes tell the listeners of a map apart.
const WornShapes = 8

// WornShape is the outline of a worn seating's mark, within a circle of radius 1
// about the origin; shapes repeat after WornShapes.
func WornShape(i int) []Point {
	regular := func(n int, turn, r float64) []Point {
		out := make([]Point, n)
		for k := range out {
			a := 2*math.Pi*float64(k)/float64(n) + turn
			out[k] = Point{r * math.Cos(a), r * math.Sin(a)}
		}
		return out
	}
	plus := []Point{{-.3, 1}, {.3, 1}, {.3, .3}, {1, .3}, {1, -.3}, {.3, -.3}, {.3, -1}, {-.3, -1}, {-.3, -.3}, {-1, -.3}, {-1, .3}, {-.3, .3}}
	switch i % WornShapes {
	case 1:
		return regular(4, math.Pi/4, 1)
	case 2:
		return regular(3, math.Pi/2, 1.1)
	case 3:
		return regular(4, 0, 1.1)
	case 4:
		return regular(3, -math.Pi/2, 1.1)
	case 5:
		return plus
	case 6:
		for k, p := range plus {
			plus[k] = Point{(p.X - p.Y) * math.Sqrt2 / 2, (p.X + p.Y) * math.Sqrt2 / 2}
		}
		return plus
	case 7:
		return []Point{{-1.1, .4}, {1.1, .4}, {1.1, -.4}, {-1.1, -.4}}
	}
	return regular(16, 0, 0.9)
}
