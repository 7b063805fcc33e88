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

// Steps are those of the preferred numbers, no value is moved by more than half of one, and what
// was stated stays what it is.
func TestStepped(t *testing.T) {
	r40 := []float64{1, 1.06, 1.12, 1.18, 1.25, 1.32, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2, 2.12, 2.24, 2.36, 2.5} // ISO 3:1973, rounded there
	for n, want := range r40 {
		if got := Stepped(want, 1); math.Abs(got/want-1) > 0.0127 || math.Abs(got-math.Pow(10, float64(n)/40)) > 1e-12 {
			t.Errorf("%g: %g", want, got)
		}
	}
	for sd := 0.2; sd < 5; sd *= 1.003 {
		got := Stepped(sd, 0.7)
		if math.Abs(math.Log(got/sd)) > math.Log(10)/80+1e-12 || math.Abs(Stepped(got, 0.7)-got) > 1e-12 {
			t.Errorf("%g: %g", sd, got)
		}
	}
	if Stepped(0.7, 0.7) != 0.7 || Stepped(0.71, 0.7) != 0.7 || Stepped(0.4, 0) != 0.4 || Stepped(0, 1) != 0 {
		t.Error("stated, or nothing")
	}
}
