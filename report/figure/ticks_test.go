package figure

import (
	"math"
	"testing"
	"time"
)

// TestTicksEnd: however large the numbers, an axis has a scale and few ticks.
func TestTicksEnd(t *testing.T) {
	t.Parallel()
	for _, level := range []float64{0, 90, -90, 1e5, 1e38, -1e38, math.MaxFloat64, 5e-324} {
		for _, aspect := range []float64{0, DifferenceAspect, LevelAspect} {
			f := Figure{Curves: &Curves{Hz: []float64{100, 1000}, DBPerDecade: aspect, Series: []Series{{Y: []float64{level, level}}}}}
			done := make(chan Scene, 1)
			go func() {
				ShareScale([]Figure{f})
				done <- f.Scene()
			}()
			select {
			case s := <-done:
				if n := len(s.Y.Ticks); !(s.Y.Max > s.Y.Min) || n < 2 || n > mostTicks {
					t.Errorf("level %g, aspect %g: axis from %g to %g with %d ticks", level, aspect, s.Y.Min, s.Y.Max, n)
				}
			case <-time.After(10 * time.Second): // only against a hang
				t.Fatalf("level %g, aspect %g: no end", level, aspect)
			}
		}
	}
	for _, c := range [][3]float64{{1e38, 2e38, 10}, {0, 1, 1e-300}, {0, math.Inf(1), 1}, {math.NaN(), 1, 1}, {-1e308, 1e308, 1}} {
		if n := len(valueTicks(c[0], c[1], c[2])); n > mostTicks {
			t.Errorf("%v: %d ticks", c, n)
		}
	}
}
