package standout

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// draw returns n Gaussian rows with variances along independent directions
// given by v (the measure does not change under rotation, so this stands for
// any covariance with these eigenvalues).
func draw(rng *rand.Rand, n int, v []float64) [][]float64 {
	x := make([][]float64, n)
	for i := range x {
		x[i] = make([]float64, len(v))
		for k := range v {
			x[i][k] = math.Sqrt(v[k]) * rng.NormFloat64()
		}
	}
	return x
}

// spectra are eigenvalues in 30 columns; only one of them is what the test
// assumes.
var spectra = []struct {
	name string
	v    func(k int) float64
}{
	{"one direction", func(k int) float64 { return map[bool]float64{true: 1}[k == 0] }},
	{"two and a floor", func(k int) float64 { return [30]float64{1, 0.6}[k] + 0.02 }},
	{"power law", func(k int) float64 { return math.Pow(float64(k+1), -1.5) }},
	{"geometric", func(k int) float64 { return math.Pow(0.7, float64(k)) }},
	{"flat", func(int) float64 { return 1 }},
}

// TestSize simulates groups without stand-outs: the share of groups in which
// anything is flagged must not exceed the size. ASWORN_LONG=1 runs the table
// of docs/developing/standouts.md.
func TestSize(t *testing.T) {
	trials, members := 150, []int{5, 10}
	if os.Getenv("ASWORN_LONG") != "" {
		trials, members = 600, []int{5, 6, 8, 10, 15}
	}
	const size = 0.05
	for _, n := range members {
		for _, s := range spectra {
			v := make([]float64, 30)
			for k := range v {
				v[k] = s.v(k)
			}
			rng := rand.New(rand.NewPCG(3, uint64(n)))
			alone, among := 0, 0
			for range trials {
				x := draw(rng, n, v)
				var like [][][]float64
				for range 7 {
					like = append(like, draw(rng, n, v))
				}
				alone += flags(Test(x, 0, size))
				among += flags(Test(x, 0, size, like...))
			}
			a, b := float64(alone)/float64(trials), float64(among)/float64(trials)
			t.Logf("%2d members, %-15s flagged %.3f alone, %.3f among eight groups", n, s.name, a, b)
			limit := size + 3*math.Sqrt(size*(1-size)/float64(trials))
			if a > limit || b > limit {
				t.Errorf("%d members, %s: size %.3f and %.3f, want at most %.2f", n, s.name, a, b, size)
			}
		}
	}
}

// flags returns 1 if anything is flagged.
func flags(ms []Member) int {
	for _, m := range ms {
		if m.Flagged {
			return 1
		}
	}
	return 0
}

// TestPower plants one or two members eight times as far out as the scatter
// in a direction of their own; both must be found, the second one too.
func TestPower(t *testing.T) {
	v := make([]float64, 30)
	for k := range v {
		v[k] = math.Pow(0.7, float64(k))
	}
	for _, plant := range []int{1, 2} {
		rng := rand.New(rand.NewPCG(4, uint64(plant)))
		found, wrong := 0, 0
		const trials = 100
		for range trials {
			x := draw(rng, 10, v)
			for i := range plant {
				x[i][3] += 8
			}
			for i, m := range Test(x, 0, 0.05) {
				switch {
				case m.Flagged && i < plant:
					found++
				case m.Flagged:
					wrong++
				}
			}
		}
		t.Logf("%d planted: found %d of %d, false %d", plant, found, plant*trials, wrong)
		if found < 85*plant*trials/100 || wrong > 10 {
			t.Errorf("%d planted: found %d of %d, false %d", plant, found, plant*trials, wrong)
		}
	}
}

func TestDegenerate(t *testing.T) {
	same := [][]float64{{1, 2}, {1, 2}, {1, 2}, {1, 2}, {1, 2}}
	if flags(Test(same, 0, 0.05)) != 0 {
		t.Error("equal rows must not stand out")
	}
	same[4] = []float64{1, 2.001}
	if flags(Test(same, 1e-4, 0.05)) != 0 {
		t.Error("a difference within the noise must not stand out")
	}
	if Test(same[:3], 0, 0.05) != nil {
		t.Error("three members must give no result")
	}
}
