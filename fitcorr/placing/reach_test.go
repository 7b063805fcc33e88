package placing

import (
	"math"
	"testing"

	"asworn/fitcorr/survey"
)

// Distances from an octagon and from a line of displacements, in closed form but for the
// directions, of which there are few.
func TestBeyond(t *testing.T) {
	octagon := [][3]float64{{}, {8}, {-8}, {0, 8}, {0, -8}, {6, 6}, {6, -6}, {-6, 6}, {-6, -6}}
	line := [][3]float64{{-8}, {}, {8}}
	for _, c := range []struct {
		at         [][3]float64
		left       [3]float64 // of the left cup; the right one lies 1 mm forward of it
		wantBeyond float64
	}{
		{octagon, [3]float64{-0.5, 0, 20}, 0},
		{octagon, [3]float64{5, 5, 0}, 0},
		{octagon, [3]float64{9.5, 0, 0}, 2},
		{octagon, [3]float64{7.5, -8, 0}, 2 * math.Sqrt2},
		{octagon, [3]float64{-0.5, 11, 0}, 3},
		{line, [3]float64{-0.5, 4, 0}, 4},
		{line, [3]float64{10.5, 4, 0}, 5},
	} {
		models := [2]Ear{{Survey: &survey.Ear{At: c.at}}} // of one ear alone
		r := newReach(&models)
		pos := [HeadsetDim]float64{c.left[0], c.left[1], c.left[2], c.left[0] + 1, c.left[1], c.left[2]}
		if got := r.beyond(pos); math.Abs(got-c.wantBeyond) > 0.002*c.wantBeyond {
			t.Errorf("%v of %d displacements: %g mm beyond, want %g", c.left, len(c.at), got, c.wantBeyond)
		}
	}
}

// What lies beyond adds to the variance of the mean of both cups, and to none of their
// half-difference.
func TestBeyondWidens(t *testing.T) {
	inside := Mode{Pos: [HeadsetDim]float64{9, 1, 0, 9, 1, 0}}
	for i := range HeadsetDim {
		inside.info[i][i] = 4
	}
	outside := inside
	outside.beyond = 2.5
	prior := Prior{Cov: HeadsetCov([3]float64{8, 8, 8}, [3]float64{3, 3, 2})}
	near := NewPosterior([]Mode{inside}, prior, Temper{})
	far := NewPosterior([]Mode{outside}, prior, Temper{})
	for _, c := range []struct{ sign, want float64 }{{1, 1}, {-1, 0}} { // (0.4·2.5 mm)²
		_, a := near[0].half(c.sign)
		_, b := far[0].half(c.sign)
		for axis := range 2 {
			if got := b[axis][axis] - a[axis][axis]; math.Abs(got-c.want) > 1e-12 {
				t.Errorf("sign %g, axis %d: %g mm² more, want %g", c.sign, axis, got, c.want)
			}
		}
		if got := b[0][1] - a[0][1]; math.Abs(got) > 1e-12 {
			t.Errorf("sign %g: axes correlate by %g mm² more", c.sign, got)
		}
	}
	if near[0].Pos != far[0].Pos {
		t.Error("the place itself has moved")
	}
}
