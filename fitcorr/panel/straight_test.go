package panel

import (
	"math"
	"testing"

	"asworn/fitcorr/linear"

	"gonum.org/v1/gonum/mat"
)

// What all seatings have in common grows with the way from the mark and falls with the
// ears that the slope is of.
func TestCommon(t *testing.T) {
	s := linear.Surface{Rest: mat.NewSymDense(1, []float64{8}), Own: mat.NewSymDense(1, []float64{0.5}), Draws: 1}
	m := panelModel{surface: [2]linear.Surface{s}, meanVariance: [2]float64{1, 1}, shared: 0.25}
	if got := m.common(0, 0, 0); got != 0.25*8+2*0.5 {
		t.Errorf("at the mark: %g dB²", got)
	}
	m.surface[0].Centre = [3]float64{3, 4}
	if got := m.common(0, 0, 0); got != 0.25*8+27*0.5 {
		t.Errorf("5 mm from the mark: %g dB²", got)
	}
	m.surface[0].Draws = 9
	if got := m.common(0, 0, 0); got != 0.25*8+3*0.5 {
		t.Errorf("with eight displaced listeners: %g dB²", got)
	}
	if got, want := m.bend(0, 0, 0), 0.75*8+0.5*(2*1.5*1.5+2*0.5*0.5); math.Abs(got-want) > 1e-12 {
		t.Errorf("a seating: %g dB², want %g", got, want)
	}
}
