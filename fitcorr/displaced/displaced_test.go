package displaced

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The slope of a listener comes back from clean rows, and the mean counts the
// fixture and every listener once, in slopes and in levels.
func TestPool(t *testing.T) {
	const n = 34
	var fixture [3][]float64
	for a := range fixture {
		fixture[a] = make([]float64, n)
	}
	own, scatter := make([]float64, n), make([]float64, n)
	for r := range n {
		fixture[0][r] = 0.3 * math.Sin(float64(r))
		own[r] = 0.3 * math.Cos(float64(r)/2)
		scatter[r] = 1e-6
	}
	var d [][3]float64
	var y [2][][]float64
	for _, x := range []float64{0, 0, 4, -4} {
		row := make([]float64, n)
		for r := range row {
			row[r] = 7 + own[r]*x
		}
		d, y[0] = append(d, [3]float64{x}), append(y[0], row)
	}
	all := []Listener{Of(d, y)}
	local := squares(fixture)
	pooled := Pool(all, 0, fixture, local, scatter)
	mean := pooled.Mean(fixture)
	level := make([]float64, n)
	for r := range level {
		level[r] = 2 * fixture[0][r]
	}
	level = pooled.Level(level, [3]float64{2})
	for r := range n {
		want := (fixture[0][r] + own[r]) / 2
		if math.Abs(mean[0][r]-want) > 0.003 {
			t.Errorf("band %d: slope %.4f, want %.4f", r, mean[0][r], want)
		}
		if math.Abs(level[r]-2*want) > 0.006 {
			t.Errorf("band %d: level at 2 mm %.4f, want %.4f", r, level[r], 2*want)
		}
	}
	// An ear that the listener lacks counts the fixture alone; so does a panel without listeners.
	for _, p := range []Pooled{Pool(all, 1, fixture, local, scatter), Pool(nil, 0, fixture, local, scatter)} {
		if got := p.Mean(fixture)[0][5]; got != fixture[0][5] {
			t.Errorf("slope %g, want the fixture's, %g", got, fixture[0][5])
		}
	}
}

// By how much ears differ comes back from listeners that differ by a known amount, with
// noise in their rows and slopes of the fixture that say something else.
func TestVariances(t *testing.T) {
	const n, heads, sd, noiseSD = 34, 12, 0.2, 0.3
	rng := rand.New(rand.NewPCG(8, 2))
	var fixture [3][]float64
	scatter := make([]float64, n)
	for a := range fixture {
		fixture[a] = make([]float64, n)
	}
	for r := range n {
		fixture[0][r], fixture[1][r], scatter[r] = 0.05, -0.05, noiseSD*noiseSD-0.05*0.05
	}
	d := [][3]float64{{}, {}, {}, {4}, {-4}, {0, 4}, {0, -4}}
	var all []Listener
	for range heads {
		var y [2][][]float64
		var own [2][n]float64
		for a := range own {
			for r := range n {
				own[a][r] = fixture[a][r] + sd*rng.NormFloat64()
			}
		}
		for _, at := range d {
			row := make([]float64, n)
			for r := range row {
				row[r] = own[0][r]*at[0] + own[1][r]*at[1] + noiseSD*rng.NormFloat64()
			}
			y[0] = append(y[0], row)
		}
		all = append(all, Of(d, y))
	}
	var mean float64
	for _, v := range variances(all, 0, fixture, squares(fixture), scatter) {
		mean += v / n
	}
	// The prior, a quarter of sd, takes two parts in fourteen.
	if want := sd * sd * heads / (heads + 2); math.Abs(mean-want) > 0.15*want {
		t.Errorf("variance %.4f, want about %.4f", mean, want)
	}
	// Nobody displaced both ways: what is known before.
	oneWay := []Listener{Of([][3]float64{{4}, {-4}}, [2][][]float64{{make([]float64, n), make([]float64, n)}})}
	if got, want := variances(oneWay, 0, fixture, squares(fixture), scatter)[9], 0.02*0.02+0.05*0.05; math.Abs(got-want) > 1e-12 {
		t.Errorf("one way: variance %g, want %g", got, want)
	}
	// What is assumed of it need not be the fixture's slopes, and stands alone without listeners.
	assumed := make([]float64, n)
	for r := range assumed {
		assumed[r] = 0.25
	}
	if got, want := Pool(nil, 0, fixture, assumed, scatter).Own[9], 0.25+0.02*0.02; math.Abs(got-want) > 1e-12 {
		t.Errorf("nobody: variance %g, want %g", got, want)
	}
}

// squares is the mean square of slopes forward and up, per band.
func squares(slope [3][]float64) []float64 {
	out := make([]float64, len(slope[0]))
	for r := range out {
		out[r] = (slope[0][r]*slope[0][r] + slope[1][r]*slope[1][r]) / 2
	}
	return out
}
