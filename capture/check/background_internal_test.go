package check

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture/deconv"
	"asworn/capture/excitation"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/capture/take"
)

// TestLooks holds the first look at the background, at a quarter of the frames, against that
// at all: it may not pass what the other finds, and passes nearly all that is good.
func TestLooks(t *testing.T) {
	d := sweep.Default()
	d.Seconds, d.GapSeconds, d.LeadSeconds, d.Repeats = 0.5, 0.5, 0.5, 2
	p, err := excitation.New(study.Setup{Sweep: d, Left: 1})
	if err != nil {
		t.Fatal(err)
	}
	bench := take.NewBench(p)
	good, passed := 0, 0
	found := map[string]int{}
	look := func(what string, size float64, seed uint64, gateDB, endDB, holes float64) {
		x := d.Signal()
		start := int(d.LeadSeconds * d.RateHz)
		for i, v := range frameNoise(rand.New(rand.NewPCG(seed, 5)), len(x), endDB, holes) {
			v *= 1e-3
			if j := (i - start + p.Period) % p.Period; j >= len(p.X)+int(0.05*d.RateHz) && gateDB > 0 {
				v *= math.Pow(10, -gateDB/20)
			}
			x[i] += v
		}
		release := bench.Hold()
		defer release()
		w := take.New(bench, new(response.Recording), [][]float64{x})
		w.Peak[take.Left] = 1
		w.Found.Start = []float64{float64(start), float64(start + p.Period)}
		w.Place()
		var hit [len(looks)]bool
		for i, l := range looks {
			b, ok := backgroundOf(w, bench.Own, take.Left, w.Silences(), l.frames)
			if !ok {
				t.Fatal("too short")
			}
			hit[i] = b.judge(w, "left", l.near) != nil
		}
		if hit[1] && !hit[0] {
			t.Errorf("%s of %g, case %d: found, but not by the first look", what, size, seed)
		}
		if hit[1] {
			found[what]++
		}
		if size == 0 {
			good++
			if !hit[0] {
				passed++
			}
		}
	}
	for seed := range uint64(3) {
		for size := 0.0; size < 12; size++ {
			look("a gate", size, seed, size, 0, 0)
			look("an end", size, seed, 0, size/2, 0)
			look("holes", size, seed, 0, 0, size/40)
		}
	}
	t.Logf("%d of %d good ones pass at the first look; found: %v", passed, good, found)
	if passed < good*9/10 {
		t.Errorf("only %d of %d good ones pass at the first look", passed, good)
	}
	for _, what := range []string{"a gate", "an end", "holes"} {
		if n := found[what]; n < 3 || n > 30 {
			t.Errorf("%s: %d found of 36: the limit is not among them", what, n)
		}
	}
}

// frameNoise is Gaussian noise of variance 1, frame by frame, lower by endDB from half of the
// frequencies on; a share of the bands of its spectra is 30 dB lower.
func frameNoise(r *rand.Rand, n int, endDB, holes float64) (out []float64) {
	const size = 1024
	f := deconv.NewFFT(size)
	c, x := make([]complex128, f.Bins()), make([]float64, size)
	for len(out) < n {
		hole := false
		for k := range c {
			g := math.Sqrt(size / 2)
			if k%16 == 0 {
				hole = r.Float64() < holes
			}
			if k > size/4 {
				g *= math.Pow(10, -endDB/20)
			}
			if hole {
				g *= math.Pow(10, -1.5)
			}
			c[k] = complex(g*r.NormFloat64(), g*r.NormFloat64())
		}
		f.Inverse(x, c)
		out = append(out, x...)
	}
	return out[:n]
}
