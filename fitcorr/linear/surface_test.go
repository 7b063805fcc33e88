package linear

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
)

// flattest makes the left surface of a near-even bench straight over 2.5 mm about the
// places of a grid of 1 mm, and returns the sums of squares (dB²) of the plane over that spread, of
// what is left and of what is the listener's own, where the plane is least.
func flattest(t *testing.T, odd float64) (plane, rest, own float64) {
	t.Helper()
	bench := toy.NearEven(7, odd).Seatings
	learned, err := position.Learn("Model E", capture.Blocked, bench)
	if err != nil {
		t.Fatal(err)
	}
	m := learned.Place(capture.Blocked, bench)
	plane = math.Inf(1)
	for x := -4.0; x <= 4; x++ {
		for y := -4.0; y <= 4; y++ {
			if p, r, o := planeAndRest(t, m.Ears[0], [3]float64{x, y}); p < plane {
				plane, rest, own = p, r, o
			}
		}
	}
	return plane, rest, own
}

// planeAndRest are those of one place. The two are all that the surface does over nine points.
func planeAndRest(t *testing.T, ear placing.Ear, centre [3]float64) (plane, rest, own float64) {
	t.Helper()
	sd := [placing.ReadDim]float64{2.5, 2.5}
	s := Over(ear.Bands, ear.Survey, ear.Scatter, nil, 0, centre, sd)
	var total float64
	step := math.Sqrt(1.5)
	for i := -1.0; i <= 1; i++ {
		for j := -1.0; j <= 1; j++ {
			at := [3]float64{centre[0] + i*step*sd[0], centre[1] + j*step*sd[1], centre[2]}
			level, _, _ := ear.Survey.Surface(ear.Bands, at)
			for r, v := range level {
				total += math.Pow(v-s.Level[r], 2) / 9
			}
		}
	}
	for a := range sd {
		for _, v := range s.Slope[a] {
			plane += v * v * sd[a] * sd[a]
		}
	}
	rest = mat.Trace(s.Rest)
	if math.Abs(plane+rest-total) > 1e-9*total {
		t.Errorf("%v: plane %g and rest %g are not all of %g dB²", centre, plane, rest, total)
	}
	return plane, rest, mat.Trace(s.Own)
}

// A surface that answers alike to opposite displacements is nearly all rest about its
// middle, and what people's own slopes do to a seating does not vanish with its slope; one
// that slopes everywhere is mostly plane.
func TestOver(t *testing.T) {
	if testing.Short() {
		t.Skip("surveys of two fixtures")
	}
	plane, rest, own := flattest(t, 0)
	if rest < 4*plane || own < plane {
		t.Errorf("even: plane %.2f, rest %.2f, people's own slopes %.2f dB²", plane, rest, own)
	}
	if plane, rest, _ := flattest(t, 4); plane < rest {
		t.Errorf("sloping: plane %.2f, rest %.2f dB²", plane, rest)
	}
}
