// Package curve holds a level over frequency, as values and as text: of a
// microphone, of a reference, or worked out by another program. It does not know
// what the curve is of.
package curve

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"
)

// Curve is a level, and if known a phase, over frequency. Hz ascends; PhaseDeg
// is nil or as long as Hz.
type Curve struct {
	Hz, DB, PhaseDeg []float64
}

// LevelDB returns the level at f: linear over log frequency between the points,
// constant beyond them, 0 for a curve without points. Beyond its points a curve
// knows nothing; callers that must not extrapolate compare f with Hz.
func (c Curve) LevelDB(f float64) float64 {
	if len(c.Hz) == 0 {
		return 0
	}
	return 20 * math.Log10(cmplx.Abs(c.At(f)))
}

// Check reports what makes a curve unusable. The error names the point, counted from 1,
// and what is wrong: lengths that differ, frequencies that do not ascend or are not above
// 0, levels that are not finite. A curve without points is usable.
func (c Curve) Check() error {
	if len(c.DB) != len(c.Hz) || (c.PhaseDeg != nil && len(c.PhaseDeg) != len(c.Hz)) {
		return errors.New("frequencies, levels and phases differ in number")
	}
	for i, f := range c.Hz {
		if !(f > 0) || math.IsInf(f, 0) || math.IsNaN(c.DB[i]) || math.IsInf(c.DB[i], 0) {
			return fmt.Errorf("point %d: %g Hz, %g dB", i+1, f, c.DB[i])
		}
		if i > 0 && f <= c.Hz[i-1] {
			return fmt.Errorf("frequencies must ascend: %g Hz follows %g Hz", f, c.Hz[i-1])
		}
	}
	return nil
}

// At returns the complex response at f: level and phase linear over log frequency between
// the points, constant beyond them. f is in Hz, the response a pure number. A curve
// without points gives 1.
func (c Curve) At(f float64) complex128 {
	i := sort.SearchFloat64s(c.Hz, f)
	var db, deg float64
	pick := func(v []float64) float64 {
		switch {
		case v == nil:
			return 0
		case i == 0:
			return v[0]
		case i == len(c.Hz):
			return v[i-1]
		}
		t := math.Log(f/c.Hz[i-1]) / math.Log(c.Hz[i]/c.Hz[i-1])
		return v[i-1] + t*(v[i]-v[i-1])
	}
	db, deg = pick(c.DB), pick(c.PhaseDeg)
	return cmplx.Rect(math.Pow(10, db/20), deg*math.Pi/180)
}

// Unwrapped returns the curve with its phase free of jumps by whole turns, so
// that it can be interpolated: each point lies within half a turn of the one
// before it.
func (c Curve) Unwrapped() Curve {
	if c.PhaseDeg == nil {
		return c
	}
	phase := append([]float64(nil), c.PhaseDeg...)
	for i := 1; i < len(phase); i++ {
		phase[i] -= 360 * math.Round((phase[i]-phase[i-1])/360)
	}
	c.PhaseDeg = phase
	return c
}

// Around returns the frequencies of the points on either side of f; f itself where there
// is a point, and the end of the curve beyond it. Both are in Hz. It panics on a curve
// without points.
func (c Curve) Around(f float64) (below, above float64) {
	i := sort.SearchFloat64s(c.Hz, f)
	switch {
	case i == len(c.Hz):
		return c.Hz[i-1], c.Hz[i-1]
	case i == 0 || c.Hz[i] == f:
		return c.Hz[i], c.Hz[i]
	}
	return c.Hz[i-1], c.Hz[i]
}
