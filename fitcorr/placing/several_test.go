package placing

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// two is a mixture of a place before the middle and one behind it.
func two(weight, mm float64) Posterior {
	cov := HeadsetCov([3]float64{0.5, 0.5, 2}, [3]float64{0.3, 0.3, 0.3})
	return Posterior{
		{Weight: weight, Pos: [HeadsetDim]float64{mm, 0, 0, mm, 0, 0}, Cov: cov},
		{Weight: 1 - weight, Pos: [HeadsetDim]float64{-mm, 0, 0, -mm, 0, 0}, Cov: cov},
	}
}

// Moments of a mixture against those of draws from it.
func TestMoments(t *testing.T) {
	p := two(0.7, 6)
	mean, cov := p.Moments()
	rng := rand.New(rand.NewPCG(1, 1))
	var chol mat.Cholesky
	chol.Factorize(p[0].Cov)
	var l mat.TriDense
	chol.LTo(&l)
	const draws = 200000
	var sum, square [HeadsetDim]float64
	for range draws {
		part := p[0]
		if rng.Float64() > 0.7 {
			part = p[1]
		}
		var z [HeadsetDim]float64
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		for i := range z {
			v := part.Pos[i]
			for j := 0; j <= i; j++ {
				v += l.At(i, j) * z[j]
			}
			sum[i] += v / draws
			square[i] += v * v / draws
		}
	}
	for i := range mean {
		if math.Abs(mean[i]-sum[i]) > 0.05 {
			t.Errorf("mean %d: %.3f, drawn %.3f", i, mean[i], sum[i])
		}
		if v := square[i] - sum[i]*sum[i]; math.Abs(cov.At(i, i)-v) > 0.02*(v+1) {
			t.Errorf("variance %d: %.3f, drawn %.3f", i, cov.At(i, i), v)
		}
	}
}

// Two places apart are both reported, and a reading near one of them decides; one
// far from both is quarrelled with.
func TestReadDecides(t *testing.T) {
	p := two(0.54, 6)
	places := p.Places()
	if len(places) != 2 || math.Abs(places[0].ForwardMM-6) > 1e-9 || math.Abs(places[0].Probability-0.54) > 1e-9 {
		t.Fatalf("places %v", places)
	}
	read, quarrel := p.Read([ReadDim]float64{-5, 0.5}, [ReadDim]float64{1, 1}, FixturePrior())
	if quarrel || read.Places() != nil || read[0].Weight < 0.999 {
		t.Errorf("read 5 mm back: %v, quarrel %v", read, quarrel)
	}
	// Precisions add: 1/0.295 and 1/1 of the mean of both cups, which each cup follows.
	if at, _ := read[0].plane(); math.Abs(at[0]+6-0.295/1.295) > 1e-9 {
		t.Errorf("read 5 mm back: %.4f mm, want %.4f", at[0], -6+0.295/1.295)
	}
	both, quarrel := p.Read([ReadDim]float64{0, 20}, [ReadDim]float64{1, 1}, FixturePrior())
	if !quarrel {
		t.Fatal("a reading 20 mm up is no quarrel")
	}
	pos, cov := both.Moments()
	if up, sd := (pos[1]+pos[4])/2, math.Sqrt(cov.At(1, 1)); up < 5 || up > 15 || sd < 8 {
		t.Errorf("a quarrel leaves %.1f mm up with a standard deviation of %.1f", up, sd)
	}
}

// Places that are not told apart are one.
func TestPlacesAlike(t *testing.T) {
	if got := two(0.5, 0.6).Places(); got != nil {
		t.Errorf("two places 1.2 mm apart: %v", got)
	}
	if got := two(0.99, 6).Places(); got != nil {
		t.Errorf("a place of 1 %%: %v", got)
	}
}

// The density of a mixture in the plane integrates to one, but for the tails.
func TestLogDensity(t *testing.T) {
	p := two(0.3, 4)
	var sum float64
	const step = 0.1
	for x := -12.0; x < 12; x += step {
		for y := -8.0; y < 8; y += step {
			sum += step * step * math.Exp(p.LogDensity([2]float64{x, y}, [2]float64{0.09, 0.16}, 11))
		}
	}
	if math.Abs(sum-1) > 1e-3 {
		t.Errorf("integral %.4f, want 1", sum)
	}
}
