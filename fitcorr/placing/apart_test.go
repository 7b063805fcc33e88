package placing

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Seatings whose cups lie apart alike tell of each other, whatever the usual distance is, and
// one whose headband is turned among others that are not keeps its place.
func TestApart(t *testing.T) {
	const seatings, studies, sd = 10, 60, 0.45 // of what the sound says of half the difference, mm
	for _, c := range []struct {
		name          string
		usual, turned float64 // mm: standard deviation of half the difference, and that of the last seating
		every         bool    // seating is turned, by turns to either side
		learned       [2]float64
		gain          float64 // most of the squared error there was
	}{
		{"nearly alike", 0.3, 0, false, [2]float64{0.2, 0.7}, 0.6},
		{"as far apart as the sound errs", 0.5, 0, false, [2]float64{0.3, 0.8}, 0.75},
		{"headband loose", 3, 0, false, [2]float64{1.8, 4}, 1.05},
		{"one turned", 0.3, 4, false, [2]float64{0.2, 0.8}, 0.75},
		{"one turned far", 0.3, 6, false, [2]float64{0.2, 0.8}, 0.75},
		{"all turned", 0.3, 6, true, [2]float64{3, 5}, 1.05},
	} {
		rng := rand.New(rand.NewPCG(31, 32))
		var before, after, covered, far, learned float64
		for range studies {
			var truth [][ReadDim]float64
			var ps []Posterior
			for k := range seatings {
				half := [ReadDim]float64{c.usual * rng.NormFloat64(), c.usual * rng.NormFloat64()}
				if c.turned > 0 && (c.every || k == seatings-1) {
					half = [ReadDim]float64{c.turned * float64(1-2*(k%2)), 0}
				}
				part := Normal{Weight: 1, Cov: mat.NewSymDense(HeadsetDim, nil)}
				for a := range 3 {
					v, w := 1.0, 1.0 // of the mean, and of half the difference: nothing is said of the rotation
					if a < ReadDim {
						v, w = 0.36, sd*sd
						part.Pos[a], part.Pos[3+a] = half[a]+sd*rng.NormFloat64(), 0
						part.Pos[3+a] = -part.Pos[a]
					}
					part.Cov.SetSym(a, a, v+w)
					part.Cov.SetSym(3+a, 3+a, v+w)
					part.Cov.SetSym(a, 3+a, v-w)
				}
				truth, ps = append(truth, half), append(ps, Posterior{part.observed(-1, [ReadDim]float64{}, FixturePrior().halfVariance())})
			}
			mm := LearnApart(ps, FixturePrior())
			learned += mm / studies
			for k, p := range ps {
				got := p.Apart(mm, FixturePrior())
				if math.Abs(got[0].Weight-1) > 1e-12 {
					t.Fatalf("weight %g of one place", got[0].Weight)
				}
				was := p[0].apart(FixturePrior()).at
				at, cov := got[0].half(-1)
				mean, _ := got[0].plane()
				for a := range ReadDim {
					e := at[a] - truth[k][a]
					before += (was[a] - truth[k][a]) * (was[a] - truth[k][a])
					after += e * e
					if math.Abs(e) <= 1.96*math.Sqrt(cov[a][a]) {
						covered += 1.0 / (studies * seatings * ReadDim)
					}
					if math.Abs(mean[a]) > 1e-9 {
						t.Fatalf("the mean of both cups moved by %g mm", mean[a])
					}
				}
				switch toward := math.Copysign(at[0]-truth[k][0], (at[0]-truth[k][0])*truth[k][0]); {
				case c.every:
					far += toward / (studies * seatings)
				case k == seatings-1:
					far += toward / studies
				}
			}
		}
		t.Logf("%s: learned %.2f mm, squared error %.2f of what it was, covers %.3f, last seating off by %.2f mm", c.name, learned, after/before, covered, far)
		if learned < c.learned[0] || learned > c.learned[1] || after/before > c.gain || covered < 0.92 || math.Abs(far) > 0.5 {
			t.Errorf("%s: learned %.2f mm, squared error %.2f of what it was, covers %.3f, last seating off by %.2f mm", c.name, learned, after/before, covered, far)
		}
	}
}
