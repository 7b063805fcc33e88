package samples

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestExtremes: the steps for this processor find what the plain ones do, wherever in a
// block a value lies, with what is not finite too.
func TestExtremes(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	block := make([]float64, extremesBlock)
	for _, special := range []float64{2, -2, 0, math.NaN(), math.Inf(1), math.Inf(-1)} {
		for at := range block {
			for i := range block {
				block[i] = 2*r.Float64() - 1
			}
			block[at] = special
			high, low, bad := extremesOf(block)
			wantHigh, wantLow, wantBad := extremesAmong(block)
			if high != wantHigh || low != wantLow || bad != wantBad {
				t.Fatalf("%g at %d: %g, %g, %d, not %g, %g, %d", special, at, high, low, bad, wantHigh, wantLow, wantBad)
			}
			if special-special != 0 && bad != 1 || special == 2 && high != 2 || special == -2 && low != -2 {
				t.Fatalf("%g at %d: %g, %g, %d", special, at, high, low, bad)
			}
		}
	}
}
