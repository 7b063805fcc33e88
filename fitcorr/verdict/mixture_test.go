package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
)

func plane(sd float64) *mat.SymDense {
	return placing.HeadsetCov([3]float64{sd, sd, 1}, [3]float64{sd / 2, sd / 2, 1})
}

// A mixture of one place is judged as its estimate is; a second place matters by
// its weight.
func TestMixture(t *testing.T) {
	target := &Target{}
	at := func(weight, mm float64) placing.Normal {
		return placing.Normal{Weight: weight, Pos: [placing.HeadsetDim]float64{mm, 0, 0, mm, 0, 0}, Cov: plane(0.5)}
	}
	ears, head := placing.Estimates(at(1, 1).Pos, plane(0.5), plane(9))
	one := judgeNumbers(numbersOf(placing.Posterior{at(1, 1)}, target, 0, 3), 0.95)
	if want := JudgePosition(ears, head, 3, 0.95); one != want {
		t.Errorf("one place: %+v, want %+v", one, want)
	}
	for _, c := range []struct {
		name string
		p    placing.Posterior
		want Outcome
	}{
		{"two places in place", placing.Posterior{at(0.6, 1), at(0.4, -1)}, Use},
		{"one in place, another off that hardly counts", placing.Posterior{at(0.98, 0), at(0.02, 8)}, Use},
		{"one in place, another off", placing.Posterior{at(0.9, 0), at(0.1, 8)}, Undetermined},
		{"both off, on either side", placing.Posterior{at(0.55, 8), at(0.45, -8)}, Move},
		{"one off, another in place", placing.Posterior{at(0.95, 8), at(0.05, 0)}, Undetermined},
	} {
		got := judgeNumbers(numbersOf(c.p, target, 0, 3), 0.95)
		if got.Outcome != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.Outcome, c.want)
		}
		if d := got.Distance(); !(d[1] <= d[0] && d[0] <= d[2]) {
			t.Errorf("%s: distance %v", c.name, d)
		}
	}
}

// Where the weights are true, a seating in place is called off no oftener than the
// stated size, however its places lie: truths are drawn from the mixture itself.
func TestMixtureSize(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	target := &Target{}
	wrong, said, draws := 0.0, 0.0, 4000
	if testing.Short() {
		draws = 1000
	}
	for range draws {
		weight := 0.5 + 0.5*rng.Float64()
		var parts placing.Posterior
		for k, w := range []float64{weight, 1 - weight} {
			r, phi := 9*rng.Float64(), 2*math.Pi*rng.Float64()
			x, y := r*math.Cos(phi), r*math.Sin(phi)
			parts = append(parts, placing.Normal{Weight: w, Pos: [placing.HeadsetDim]float64{x, y, 0, x, y, 0}, Cov: plane(0.4 + 0.6*float64(k))})
		}
		part := parts[0]
		if rng.Float64() > weight {
			part = parts[1]
		}
		common := [2]float64{0.4 * rng.NormFloat64(), 0.4 * rng.NormFloat64()}
		if part.Weight != weight {
			common[0], common[1] = 2.5*common[0], 2.5*common[1]
		}
		off := math.Hypot(part.Pos[0]+common[0], part.Pos[1]+common[1])
		v := judgeNumbers(numbersOf(parts, target, 0, 3), 0.95)
		if v.Outcome != Undetermined {
			said++
			if v.Outcome == Move && off < 2 || v.Outcome == Use && off > 4 {
				wrong++
			}
		}
	}
	if said < 0.25*float64(draws) || wrong > 0.03*said {
		t.Errorf("%.0f of %.0f verdicts are wrong", wrong, said)
	}
}
