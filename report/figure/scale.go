package figure

import "math"

// LevelAspect is the aspect of level plots, DifferenceAspect that of plots of
// small differences (both IEC 60263:2020, 4.1).
const (
	LevelAspect      = 25
	DifferenceAspect = 10
)

// ShareByModel gives the figures of each model one vertical range; models have
// their own, at the same scale of decibels.
func ShareByModel(figs []Figure) []Figure {
	EachModel(figs, func(of []Figure) { ShareScale(of) })
	return figs
}

// EachModel calls share with the figures of one model after the other.
func EachModel(figs []Figure, share func([]Figure)) {
	for i := 0; i < len(figs); {
		k := i
		for k < len(figs) && figs[k].Model == figs[i].Model {
			k++
		}
		share(figs[i:k])
		i = k
	}
}

// ShareScale gives all figures one vertical range, so that they compare.
func ShareScale(figs []Figure) []Figure {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, f := range figs {
		a, b := extent(*f.Curves)
		lo, hi = min(lo, a), max(hi, b)
	}
	for _, f := range figs {
		setRange(f.Curves, lo, hi)
	}
	return figs
}

// ShareWithin is ShareScale by what the lines drawn at first do from loHz to hiHz
// alone: what goes beyond elsewhere, and limits, are cut off at the edge.
func ShareWithin(figs []Figure, loHz, hiHz float64) []Figure {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, f := range figs {
		for _, s := range f.Curves.Series {
			for i, y := range s.Y {
				if hz := f.Curves.Hz[i]; !s.Hidden && math.Abs(y) <= mostDB && hz >= loHz && hz <= hiHz {
					lo, hi = min(lo, y), max(hi, y)
				}
			}
		}
	}
	for _, f := range figs {
		setRange(f.Curves, lo, hi)
	}
	return figs
}

// ShareSpan gives all figures the same number of decibels, and those of one view of one model
// the same range: raw and compensated differ in level but not in scale, and both ears compare.
func ShareSpan(figs []Figure) []Figure {
	alike := map[[2]string][]Figure{}
	for _, f := range figs {
		key := [2]string{f.Model, f.View}
		alike[key] = append(alike[key], f)
	}
	for _, of := range alike {
		ShareScale(of)
	}
	span := 0.0
	for _, f := range figs {
		span = max(span, f.Curves.YMax-f.Curves.YMin)
	}
	for _, f := range figs {
		f.Curves.YMin = f.Curves.YMax - span
	}
	return figs
}

// extent is the range of everything that a curve plot draws at first; what is
// hidden may widen it by 5 dB.
func extent(c Curves) (lo, hi float64) {
	lo, hi = rangeOf(c, false)
	if a, b := rangeOf(c, true); !math.IsInf(a, 0) {
		lo, hi = min(lo, max(a, lo-5)), max(hi, min(b, hi+5))
	}
	return lo, hi
}

// mostDB is beyond every level and level change: what lies further out is
// drawn past the edge and has no say in the scale.
const mostDB = 1e4

func rangeOf(c Curves, hidden bool) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, s := range c.Series {
		if s.Hidden != hidden {
			continue
		}
		for _, ys := range [][]float64{s.Y, s.Lower, s.Upper} {
			for i, y := range ys {
				if math.Abs(y) <= mostDB && c.Hz[i] >= 20*0.9 && c.Hz[i] <= 20000*1.1 {
					lo, hi = min(lo, y), max(hi, y)
				}
			}
		}
	}
	return lo, hi
}

// setRange rounds to whole grid steps and keeps at most 60 dB, the highest.
func setRange(c *Curves, lo, hi float64) {
	if math.IsInf(lo, 0) || math.IsInf(hi, 0) {
		lo, hi = -30, 10
	}
	if hi-lo < 1e-6 && c.DBPerDecade == 0 { // a flat line stands in the middle
		lo, hi = lo-0.5, hi+0.5
	}
	step := gridStep(c.DBPerDecade, hi-lo)
	c.YMax = math.Ceil(hi/step) * step
	c.YMin = math.Floor(lo/step) * step
	if c.DBPerDecade > 0 {
		c.YMin = max(c.YMin, c.YMax-60)
		if c.YMax-c.YMin < c.DBPerDecade {
			c.YMin = c.YMax - math.Ceil(c.DBPerDecade/step)*step
		}
	} else if lo >= 0 {
		c.YMin = 0
	}
	if c.YMax == c.YMin {
		c.YMax += step
	}
}

// gridStep is the distance of horizontal grid lines.
func gridStep(aspect, span float64) float64 {
	switch {
	case aspect >= LevelAspect:
		return 10
	case aspect > 0:
		return 5
	}
	step := math.Pow(10, math.Floor(math.Log10(max(span, 1e-6)/2)))
	for _, k := range []float64{1, 2, 5} {
		if span/(k*step) <= 8 {
			return k * step
		}
	}
	return 10 * step
}

// SetDotRange fits the value axis of dot plots that are compared: 0 and all values
// with some room.
func SetDotRange(figs []Figure) {
	var lo, hi float64
	for _, f := range figs {
		for _, r := range f.Dots.Rows {
			lo, hi = min(lo, r.Lower), max(hi, r.Upper)
		}
		if b := f.Dots.Band; b != nil {
			lo, hi = min(lo, b[0]), max(hi, b[2])
		}
	}
	pad := 0.04 * max(hi-lo, 0.1)
	if lo < 0 {
		lo -= pad
	}
	for _, f := range figs {
		f.Dots.Min, f.Dots.Max = lo, hi+pad
	}
}
