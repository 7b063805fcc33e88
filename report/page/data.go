package page

import (
	"bytes"
	"math"
	"slices"
	"strconv"

	"asworn/report/figure"
)

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

func dataOf(f figure.Figure) figureData {
	c := f.Curves
	if c == nil {
		return figureData{}
	}
	d := figureData{Hz: c.Hz, Unit: c.Unit, Digits: c.Decimals}
	groups := f.Groups()
	for _, s := range c.Series {
		d.Series = append(d.Series, seriesData{Name: s.Name, Group: slices.IndexFunc(groups, func(g figure.Group) bool { return g.Name == s.Group }), Y: s.Y, Lower: s.Lower, Upper: s.Upper})
	}
	return d
}
