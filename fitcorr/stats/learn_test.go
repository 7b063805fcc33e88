package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Nothing observed leaves what is stated; many errors show what they are; a few
// hardly move it; and errors of another kind never make it absurd.
func TestLearnSD(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	draw := func(n int, sd, known float64) []Error {
		var out []Error
		for range n {
			v := sd*rng.NormFloat64() + known*rng.NormFloat64()
			out = append(out, Error{v * v, known * known})
		}
		return out
	}
	if got := LearnSD(0.7, 8, nil); math.Abs(got-0.7) > 1e-9 {
		t.Errorf("nothing observed: %.3f", got)
	}
	for _, sd := range []float64{0.4, 1, 2.5} {
		if got := LearnSD(1, 8, draw(4000, sd, 0.3)); math.Abs(got/sd-1) > 0.05 {
			t.Errorf("4000 errors of %.1f: %.2f", sd, got)
		}
	}
	if got := LearnSD(1, 8, draw(3, 3, 0)); got > 2 {
		t.Errorf("three errors of 3: %.2f", got)
	}
	if got := LearnSD(1, 8, append(draw(20, 1, 0), draw(6, 26, 0)...)); got > 2.5 {
		t.Errorf("six places 26 mm off among twenty readings: %.2f", got)
	}
	if got := LearnSD(1, 8, draw(20, 26, 0)); got > 4+1e-9 {
		t.Errorf("twenty places 26 mm off: %.2f", got)
	}
}
