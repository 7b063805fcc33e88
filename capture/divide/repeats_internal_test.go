package divide

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture/excitation"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/capture/take"
)

// TestAlike: what every eighth sample calls alike is so by all samples, for white noise,
// rumble and a whistle, and most that is alike is called so.
func TestAlike(t *testing.T) {
	d := sweep.Default()
	d.Seconds, d.GapSeconds, d.LeadSeconds, d.Repeats = 0.5, 0.3, 0.3, 2
	p, err := excitation.New(study.Setup{Sweep: d, Left: 1})
	if err != nil {
		t.Fatal(err)
	}
	var equal, found int
	noises := map[string]func(r *rand.Rand, i int, last float64) float64{
		"white":  func(r *rand.Rand, _ int, _ float64) float64 { return r.NormFloat64() },
		"rumble": func(r *rand.Rand, _ int, last float64) float64 { return 0.99*last + 0.1*r.NormFloat64() },
		"whistle": func(_ *rand.Rand, i int, _ float64) float64 {
			return math.Sin(2 * math.Pi * 11950 * float64(i) / d.RateHz)
		},
	}
	for name, noise := range noises {
		for seed, ratio := range []float64{1, 1, 1.1, 1.1, 1.2, 1.3, 1.4, 1.45, 1.5, 2, 4, 10} {
			r, x := rand.New(rand.NewPCG(uint64(seed), 1)), d.Signal()
			half, last := int((d.LeadSeconds+d.Seconds+d.GapSeconds/2)*d.RateHz), 0.0
			for i := range x {
				last = noise(r, i, last)
				size := 0.002
				if i > half {
					size *= ratio
				}
				x[i] += size * last
			}
			bench := take.NewBench(p)
			release := bench.Hold()
			w := take.New(bench, new(response.Recording), [][]float64{x})
			start := d.LeadSeconds * d.RateHz
			w.Ratio = 1
			w.Found.Start = []float64{start, start + float64(p.Period)}
			w.Place()
			w.Transform()
			Repeats(w)
			var rest [2]float64
			for k := range rest {
				bench.Own.FFT.Inverse(bench.Own.Impulse, w.Spectrum(k, take.Left))
				rest[k] = restOf(w, bench.Own.Impulse)
			}
			got, by := alike(w, bench.Own), max(rest[0]/rest[1], rest[1]/rest[0])
			release()
			what := fmt.Sprintf("%s, %g times the noise: power %.2f times, alike %v", name, ratio, by, got)
			if got && !(by <= unequalNoise) {
				t.Error(what)
			}
			if by < 1.3 {
				equal++
				if got {
					found++
				}
			}
			t.Log(what)
		}
	}
	if found < equal*9/10 {
		t.Errorf("%d of %d that are alike are called so", found, equal)
	}
}
