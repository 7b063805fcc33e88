// Package figure describes plots and draws them. It knows nothing of studies.
package figure

import (
	"math"

	"asworn/report/table"
)

// Figure is one plot of a report. The SVG and PNG files and the page draw
// from it, and the table behind each plot is made from it too.
type Figure struct {
	Name    string  // for file names: "worn-model-a-left"
	Section Section // of the page
	Model   string
	Ear     string // empty for both
	View    string // names one of several ways to show the same, which a page shows by turns; empty for the only one
	Title   string
	Note    string // what is drawn, for the caption and the screen reader
	// Exactly one of these is set.
	Curves *Curves
	Map    *OffsetMap
	Dots   *Dots
}

// Section names a section of the page that holds figures.
type Section string

// The sections.
const (
	SectionFinal       Section = "final"
	SectionBudget      Section = "budget"
	SectionWorn        Section = "worn"
	SectionMap         Section = "map"
	SectionLeak        Section = "leak"
	SectionCorrected   Section = "corrected"
	SectionCompensated Section = "compensated"
	SectionSensitivity Section = "sensitivity"
	SectionSurvey      Section = "survey"
	SectionDifference  Section = "difference"
	SectionSeatings    Section = "seatings"

	// Of the page that compares fixtures.
	SectionFixtureModels Section = "models"
	SectionFixtures      Section = "fixtures"
	SectionFixturePeople Section = "people"
)

// Curves are values over a logarithmic frequency axis, 20 Hz to 20 kHz.
type Curves struct {
	Hz         []float64
	YLabel     string // with unit
	Unit       string
	Decimals   int
	YMin, YMax float64
	// DBPerDecade is how many decibels are as long as one decade: 10, 20, 25
	// or 50 (IEC 60263:2020, 4.1); 0 where the vertical axis is not a level.
	DBPerDecade float64
	Series      []Series
}

// Add adds a curve; nothing is drawn where valid (nil: everywhere) is false. A
// nil curve adds nothing.
func (c *Curves) Add(name string, y []float64, valid []bool, st Style) {
	if y == nil {
		return
	}
	s := Series{Name: name, Group: name, Style: st}
	for i := range c.Hz {
		v := math.NaN()
		if i < len(y) && (i >= len(valid) || valid[i]) {
			v = y[i]
		}
		s.Y = append(s.Y, v)
	}
	c.Series = append(c.Series, s)
}

// Series is one curve, or one curve with a band around it.
type Series struct {
	Name   string
	Group  string    // series of a group are shown and hidden together
	Link   string    // key of the seating, if it is one
	Y      []float64 // NaN: nothing to draw
	Lower  []float64 // of the band; nil without one
	Upper  []float64
	Style  Style
	Hidden bool // at first
	Top    bool // drawn over the others
}

// Style numbers how a series is drawn: Tint 0 is the ink of the text, 1 to
// Tints a colour; Dash 0 is a full line.
type Style struct {
	Tint, Dash int
	Thin       bool
}

// Tints and Dashes count what styles there are.
const (
	Tints  = 4
	Dashes = 8
)

// StyleFor gives the i-th of a set of lines dashes of its own, which tell it apart
// without colour, and after Dashes of them its own pair of colour and dashes.
func StyleFor(i int) Style { return Style{Tint: 1 + (i+i/Dashes)%Tints, Dash: i % Dashes} }

// OffsetMap is the side view of the head axes in mm: forward to the right, up
// upward, for both ears.
type OffsetMap struct {
	Origin      string  // what lies at (0, 0), in words
	ToleranceMM float64 // radius about the origin; 0 without a panel's mean
	Limit       float64 // half the range of both axes, mm
	Spread      *Ellipse
	Mean        *Ellipse
	Marked      *[2]float64 // the fixture's marked position
	Points      []MapPoint
	Unseen      []string // seatings that cannot be drawn, because an axis is not seen
}

// Ellipse is given by its half axes (mm) and the angle of the first, radians
// from forward toward up.
type Ellipse struct{ A, B, Angle float64 }

// MapPoint is one seating.
type MapPoint struct {
	Name, Group, Link string
	Label             string // beside the mark
	X, Y              float64
	Interval          *Ellipse // its extent along an axis is the interval of that axis
	Worn              bool
	Shape             int // of a worn seating's mark: WornShape
	Verdict           string
	Tone              table.Tone
}

// Dots are estimates with intervals, one below the other.
type Dots struct {
	XLabel   string
	Unit     string
	Decimals int
	Rows     []Dot
	Min, Max float64 // of the value axis; plots that are compared share them
	// Band is a range drawn behind, for instance the panel's mean ± SD; nil without.
	Band     *[3]float64 // lower, middle, upper
	BandName string
}

// Dot is one row.
type Dot struct {
	Name, Group, Link string
	Est, Lower, Upper float64
	Tone              table.Tone
	Verdict           string
}

// EllipseOf draws a covariance (forward, up) with half axes k times its root.
func EllipseOf(cov [3][3]float64, k float64) *Ellipse {
	a, b, c := cov[0][0], cov[0][1], cov[1][1]
	mid, dif := (a+c)/2, math.Hypot((a-c)/2, b)
	return &Ellipse{A: k * math.Sqrt(max(0, mid+dif)), B: k * math.Sqrt(max(0, mid-dif)), Angle: 0.5 * math.Atan2(2*b, a-c)}
}

// At is the point of the ellipse at parameter t, about (x, y).
func (e Ellipse) At(x, y, t float64) (float64, float64) {
	c, s := math.Cos(e.Angle), math.Sin(e.Angle)
	u, v := e.A*math.Cos(t), e.B*math.Sin(t)
	return x + c*u - s*v, y + s*u + c*v
}
