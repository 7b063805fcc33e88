package standout

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/fitcorr/internal/toy"
)

// draw returns n Gaussian rows with standard deviations sd, turned by angle in
// the plane of the first two columns.
func draw(rng *rand.Rand, n int, sd []float64, angle float64) [][]float64 {
	x := make([][]float64, n)
	sin, cos := math.Sincos(angle)
	for i := range x {
		x[i] = make([]float64, len(sd))
		for k := range sd {
			x[i][k] = sd[k] * rng.NormFloat64()
		}
		x[i][0], x[i][1] = cos*x[i][0]-sin*x[i][1], sin*x[i][0]+cos*x[i][1]
	}
	return x
}

// Without stand-outs the share of groups in which anything is flagged must not
// exceed the size, whether the groups scatter alike or each in a shape of its own.
func TestSize(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	t.Parallel()
	trials := 150
	if toy.Long() {
		trials = 2000
	}
	const size, groups = 0.05, 6
	for _, c := range []struct {
		name  string
		sd    []float64
		angle float64 // groups differ by up to this
	}{
		{"alike, one direction", []float64{1, 0.1, 0.1, 0.1, 0.1}, 0},
		{"alike, falling", []float64{1, 0.7, 0.5, 0.35, 0.25}, 0},
		{"alike, flat", []float64{1, 1, 1, 1, 1}, 0},
		{"turned", []float64{1, 0.2, 0.5, 0.35, 0.25}, math.Pi},
	} {
		for _, n := range []int{5, 10} {
			rng := rand.New(rand.NewPCG(3, uint64(n)))
			flagged := 0
			for range trials {
				var x [][][]float64
				for range groups {
					x = append(x, draw(rng, n, c.sd, c.angle*rng.Float64()))
				}
				for _, members := range Test(x, make([]float64, groups), size) {
					for _, m := range members {
						if m.Flagged {
							flagged++
							break
						}
					}
				}
			}
			share := float64(flagged) / float64(trials*groups)
			t.Logf("%s, groups of %d: flagged in %.3f", c.name, n, share)
			if share > size+3*math.Sqrt(size*(1-size)/float64(trials)) {
				t.Errorf("%s, groups of %d: flagged in %.3f, size %.2f", c.name, n, share, size)
			}
		}
	}
}

// A member that lies in a direction in which other groups show that nothing
// scatters is found where its own group could not tell, and two alike do not hide
// each other.
func TestPower(t *testing.T) {
	t.Parallel()
	sd := []float64{1, 0.5, 0.2, 0.1}
	const trials = 100
	for _, c := range []struct{ plant, groups, least, most int }{{1, 6, 85, trials}, {1, 1, 0, 60}, {2, 6, 85, trials}} {
		rng := rand.New(rand.NewPCG(4, uint64(c.plant)))
		found, wrong := 0, 0
		for range trials {
			var x [][][]float64
			for range c.groups {
				x = append(x, draw(rng, 6+3*(c.plant-1), sd, 0))
			}
			for i := range c.plant {
				x[0][i][3] += 2
			}
			for i, m := range Test(x, make([]float64, c.groups), 0.05)[0] {
				switch {
				case m.Flagged && i < c.plant:
					found++
				case m.Flagged:
					wrong++
				}
			}
		}
		t.Logf("%d planted, %d groups: found %d of %d, false %d", c.plant, c.groups, found, c.plant*trials, wrong)
		if found < c.least*c.plant || found > c.most*c.plant || wrong > 10 {
			t.Errorf("%d planted, %d groups: found %d, want %d to %d; false %d", c.plant, c.groups, found, c.least*c.plant, c.most*c.plant, wrong)
		}
	}
}

func TestDegenerate(t *testing.T) {
	flags := func(x [][]float64, noise float64) (n int) {
		for _, m := range Test([][][]float64{x}, []float64{noise}, 0.05)[0] {
			if m.Flagged {
				n++
			}
			if math.IsNaN(m.P) || math.IsNaN(m.Distance) {
				t.Errorf("not a number: %+v", m)
			}
		}
		return n
	}
	same := [][]float64{{1, 2}, {1, 2}, {1, 2}, {1, 2}, {1, 2}}
	if flags(same, 0) != 0 {
		t.Error("equal rows must not stand out")
	}
	same[4] = []float64{1, 2.001}
	if flags(same, 1e-4) != 0 {
		t.Error("a difference within the noise must not stand out")
	}
	if flags(same, 0) != 1 {
		t.Error("the only row that differs at all must stand out")
	}
	if Test([][][]float64{same[:3]}, []float64{0}, 0.05)[0] != nil {
		t.Error("three members must give no result")
	}
}
