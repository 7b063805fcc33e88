package figure

import (
	"math"

	"asworn/report/table"
)

// Scene is a figure in units of its axes: what the page and the plot files
// draw, so that the two cannot disagree.
type Scene struct {
	X, Y Axis
	// Aspect is the height of the data area over its width; 0 where Rows, one
	// below the other, give the height.
	Aspect float64
	Rows   int
	Shapes []Shape // in drawing order, the topmost last
}

// Axis maps values to the unit interval.
type Axis struct {
	Label    string
	Min, Max float64
	Log      bool
	Ticks    []Tick
}

// Tick is a mark on an axis; one without a label is short and has no grid line.
type Tick struct {
	Value float64
	Label string
	Minor bool // the label may go where room is short
}

// At is where v lies between Min (0) and Max (1).
func (a Axis) At(v float64) float64 {
	if a.Log {
		return math.Log(v/a.Min) / math.Log(a.Max/a.Min)
	}
	return (v - a.Min) / (a.Max - a.Min)
}

// of is the value at a share of a linear axis.
func (a Axis) of(share float64) float64 { return a.Min + share*(a.Max-a.Min) }

// Point is a place in units of the axes.
type Point struct{ X, Y float64 }

// Shape is one of Area, Line, Outline, Stripe, Cross and Mark.
type Shape interface{ shape() }

// Area is what lies between the limits of a series.
type Area struct {
	Of    Member
	Polys [][]Point // closed
}

// Line is a curve, in pieces where it has gaps.
type Line struct {
	Of   Member
	Name string
	Runs [][]Point
}

// Member says which series is drawn, and how.
type Member struct {
	Series, Group int // indices into Curves.Series and Figure.Groups
	Style         Style
	Hidden        bool // at first
}

// Outline is an ellipse about the origin.
type Outline struct {
	Role    Role
	Ellipse Ellipse
}

// Role is what an outline stands for.
type Role int

// An outline is the scatter of worn seatings, the tolerance, or the interval
// of the panel's mean.
const (
	Scatter Role = iota
	Tolerance
	Mean
)

// Stripe is a range of the horizontal axis over the whole height, with its
// middle.
type Stripe struct{ Lower, Middle, Upper float64 }

// Cross marks a place.
type Cross struct{ At Point }

// Mark is one estimate.
type Mark struct {
	At    Point
	Tone  table.Tone
	Group int
	Shown Point // where it is drawn: beside At, with a line to it, where another mark has that place
	Worn  bool  // a small mark of Shape and nothing else
	Shape int
	Area  *Ellipse // its interval in two dimensions, or
	Bar   *Range   // in one
	Text  string   // beside the mark
	Label string   // in full, for pointer and screen reader
}

// Range is from Lower to Upper.
type Range struct{ Lower, Upper float64 }

func (Area) shape()    {}
func (Line) shape()    {}
func (Outline) shape() {}
func (Stripe) shape()  {}
func (Cross) shape()   {}
func (Mark) shape()    {}
