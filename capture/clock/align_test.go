package clock

import (
	"math"
	"testing"

	"asworn/capture/take"
)

// TestAllow: what a damaged recording shows for a clock must not be stretched by, which would ask
// for memory without bound (found by FuzzRecording, in noise of which a single sweep was made out).
func TestAllow(t *testing.T) {
	for _, c := range []struct{ d, want float64 }{
		{0, 1}, {1e-4, 1.0001}, {-0.05, 0.95}, {0.3, 1}, {-3, 1}, {1e17, 1}, {math.Inf(1), 1}, {math.NaN(), 1},
	} {
		k := &take.Take{Ratio: 7}
		if allow(k, c.d); k.Ratio != c.want {
			t.Errorf("fast by %g: stretched by %g, want %g", c.d, k.Ratio, c.want)
		}
	}
}
