package position

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
)

// The mark's error is recovered from the levels of the two surveys, within what is
// stated of it, and told better than before.
func TestMarkBySound(t *testing.T) {
	if testing.Short() {
		t.Skip("surveys of six fixtures at two points")
	}
	const studies, stated = 6, 1.0
	var square, variance, covered float64
	for seed := range uint64(studies) {
		plan := toy.Small(500 + seed)
		plan.Models, plan.Listeners, plan.Drum = 1, 0, true
		angle := float64(seed)
		plan.Mark = [3]float64{1.2 * math.Cos(angle), 1.2 * math.Sin(angle), 0}
		ss, _ := plan.Study()
		at := func(point capture.Point) *Model {
			var there []seat.Seating
			for _, s := range ss {
				if s.Model != "" && s.Point == point {
					there = append(there, s)
				}
			}
			m, err := newModel("Model A", point, there)
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		e := MarkBetween(placing.Mark{}, placing.Mark{}, stated).BySound(at(capture.Blocked), at(capture.Drum))
		if !e.Sound {
			t.Fatal("the sound tells nothing")
		}
		for a := range placing.ReadDim {
			d := e.By[a] - plan.Mark[a]
			square += d * d / (2 * studies)
			variance += e.Variance[a] / (2 * studies)
			if math.Abs(d) < 2.2*math.Sqrt(e.Variance[a]) {
				covered++
			}
			t.Logf("axis %d: %.2f mm, true %.2f, standard deviation %.2f", a, e.By[a], plan.Mark[a], math.Sqrt(e.Variance[a]))
		}
	}
	if covered < 11 || math.Sqrt(square) > 0.7*1.2/math.Sqrt2 || math.Sqrt(variance) > stated {
		t.Errorf("RMS error %.2f mm, stated %.2f, %g of %d within", math.Sqrt(square), math.Sqrt(variance), covered, 2*studies)
	}
}
