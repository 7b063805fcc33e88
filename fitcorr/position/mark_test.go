package position

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
)

// The mark's error from readings at both surveys: over drawn errors the estimate
// is off by what its variance states, and without readings it is the stated one.
func TestMarkBetween(t *testing.T) {
	if e := MarkBetween(placing.Mark{}, placing.Mark{}, 0.5); e.By != [placing.ReadDim]float64{} || e.Variance[0] != 0.25 || e.Read {
		t.Errorf("without readings: %+v", e)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const draws, stated, sd = 20000, 0.8, 0.4
	var square, variance float64
	for range draws {
		var blocked, drum placing.Mark
		var by [placing.ReadDim]float64
		for a := range by {
			by[a] = stated * rng.NormFloat64()
			landmark := 10 * rng.NormFloat64()
			blocked.At[a] = landmark + sd*rng.NormFloat64()
			drum.At[a] = landmark + by[a] + sd*rng.NormFloat64()
			blocked.Variance[a] = sd*sd + placing.ReadTurnMM*placing.ReadTurnMM
		}
		drum.Variance = blocked.Variance
		blocked.One, drum.One = 1, 1
		e := MarkBetween(blocked, drum, stated)
		for a := range by {
			square += (e.By[a] - by[a]) * (e.By[a] - by[a]) / (2 * draws)
			variance += e.Variance[a] / (2 * draws)
		}
	}
	if math.Abs(square/variance-1) > 0.03 {
		t.Errorf("mean square error %.4f mm², stated %.4f", square, variance)
	}
}

// Both cups move with the mark.
func TestShift(t *testing.T) {
	cov := placing.HeadsetCov([3]float64{1, 1, 1}, [3]float64{0.5, 0.5, 0.5})
	f := FixtureSeating{Posterior: placing.Posterior{{Weight: 1, Cov: cov}}}
	f.Shift(MarkError{By: [placing.ReadDim]float64{2, -1}, Variance: [placing.ReadDim]float64{0.25, 0.5}})
	want := mat.NewSymDense(placing.HeadsetDim, nil)
	want.CopySym(cov)
	for i, v := range []float64{0.25, 0.5} {
		for _, c := range [][2]int{{i, i}, {3 + i, 3 + i}, {i, 3 + i}} {
			want.SetSym(c[0], c[1], want.At(c[0], c[1])+v)
		}
	}
	if f.Pos != [placing.HeadsetDim]float64{2, -1, 0, 2, -1, 0} || !mat.EqualApprox(f.Cov, want, 1e-12) {
		t.Errorf("shifted to %v with %v", f.Pos, mat.Formatted(f.Cov))
	}
	if v := f.Offset.Headset.Cov[0][0]; math.Abs(v-(1+0.125+0.25)) > 1e-12 {
		t.Errorf("variance of the mean of both cups %.4f", v)
	}
}
