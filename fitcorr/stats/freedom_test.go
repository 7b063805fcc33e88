package stats

import (
	"testing"
)

// Degrees of freedom by the worked example of JCGM 100:2008, H.1.6 (end-gauge
// calibration): 16, from components whose own are 18, 5 and 8 beside others
// without limit; quoted from memory, u(l) = 31.7 nm, 25, 5.8, 3.9, 6.7 and 16.6 nm.
func TestPooledDF(t *testing.T) {
	square := func(x float64) float64 { return x * x }
	v, df := square(25.0), 18.0
	for _, c := range []struct{ u, df float64 }{{5.8, 24}, {3.9, 5}, {6.7, 8}, {16.6, 2}} {
		df = PooledDF(v, df, square(c.u), c.df)
		v += square(c.u)
	}
	if df < 15 || df > 17 {
		t.Errorf("effective degrees of freedom %.1f, want 16", df)
	}
	if got := PooledDF(1, 0, 2, 0); got != 0 {
		t.Errorf("no limits: %g, want 0", got)
	}
	if got := PooledDF(1, 5, 0, 3); got != 5 {
		t.Errorf("one source: %g, want 5", got)
	}
}
