package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/seat"
)

// TestInsideDisk: at no distance the law is Rayleigh's, far away it is normal in the
// radial direction; in between it is simulated.
func TestInsideDisk(t *testing.T) {
	for _, r := range []float64{0.3, 1, 2.5} {
		if got, want := insideDisk(r, 0, 1, 1), 1-math.Exp(-r*r/2); math.Abs(got-want) > 1e-6 {
			t.Errorf("P(%g, 0) = %g, want %g", r, got, want)
		}
	}
	if got, want := insideDisk(101, 100, 1, 1), distuv.UnitNormal.CDF(1-0.5/100.5); math.Abs(got-want) > 1e-3 {
		t.Errorf("far away: %g, want %g", got, want)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const draws = 200000
	in := 0
	for range draws {
		if math.Hypot(2+rng.NormFloat64(), rng.NormFloat64()) < 1.7 {
			in++
		}
	}
	if got, want := insideDisk(1.7, 2, 1, 1), float64(in)/draws; math.Abs(got-want) > 4*math.Sqrt(want/draws) {
		t.Errorf("insideDisk(1.7, 2, 1, 1) = %g, simulated %g", got, want)
	}
}

// outcome is that of judgeAlone at 95 % without its limits, which take most of the time.
func outcome(e seat.Estimate, tol float64) Outcome {
	d, at := newDistanceTests(e, tol), newSize(0.05, e.DF)
	switch {
	case d.pWithin(tol, at) <= at.alpha:
		return Use
	case d.pBeyond(tol, at) <= at.alpha:
		return Move
	}
	return Undetermined
}

// TestDistanceSize: on the tolerance neither test says more than its size
// allows, whatever the direction and the shape of the covariance.
func TestDistanceSize(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	rng := rand.New(rand.NewPCG(3, 4))
	const tol, draws = 3.0, 2000
	for _, sd := range [][2]float64{{0.6, 0.6}, {1, 0.4}, {0.3, 1.2}, {1.6, 1.6}, {1.7, 0.8}} {
		for _, phi := range []float64{0, 0.8, math.Pi / 2} {
			var est seat.Estimate
			est.Cov[0][0], est.Cov[1][1] = sd[0]*sd[0], sd[1]*sd[1]
			count := map[Outcome]int{}
			for range draws {
				est.Value[0] = tol*math.Cos(phi) + sd[0]*rng.NormFloat64()
				est.Value[1] = tol*math.Sin(phi) + sd[1]*rng.NormFloat64()
				o := outcome(est, tol)
				count[o]++
			}
			for _, o := range []Outcome{Use, Move} {
				// The Monte Carlo error is 0.005; allow for the simulation.
				if p := float64(count[o]) / draws; p > 0.066 {
					t.Errorf("sd %v, direction %.1f: %s in %.3f of the cases on the border", sd, phi, o, p)
				}
			}
		}
	}
}

// TestDistancePower: the rates of a clear case.
func TestDistancePower(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct {
		offset float64
		want   Outcome
		least  float64
	}{{0, Use, 0.87}, {6, Move, 0.95}} {
		var est seat.Estimate
		const sd, draws = 0.8, 2000
		est.Cov[0][0], est.Cov[1][1] = sd*sd, sd*sd
		n := 0
		for range draws {
			est.Value[0], est.Value[1] = c.offset+sd*rng.NormFloat64(), sd*rng.NormFloat64()
			if outcome(est, 3) == c.want {
				n++
			}
		}
		if p := float64(n) / draws; p < c.least {
			t.Errorf("%g mm off: %s in %.3f", c.offset, c.want, p)
		}
	}
}

// shorter is P(|X| ≤ r) of a two-dimensional normal of standard deviation sd per axis
// about a point nu off: |X|²/sd² is noncentral χ² of two degrees of freedom, a mixture of
// central ones by Poisson's law.
func shorter(r, nu, sd float64) (p float64) {
	half := nu * nu / (2 * sd * sd)
	for j := range 100 {
		p += distuv.Poisson{Lambda: half}.Prob(float64(j)) * distuv.ChiSquared{K: float64(2 + 2*j)}.CDF(r*r/(sd*sd))
	}
	return p
}

// TestDistanceRates: a seating in place is called so as often as the closed form says
// of a test of exact size, 1 − exp(−c²/2 sd²), c being the distance within which one estimate in
// twenty of a seating on the border lies; and one on the border in 5 %.
func TestDistanceRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	const tol, draws = 3.0, 1500
	for _, sd := range []float64{0.5, 0.75, 0.9, 1.1, 1.4} {
		lo, hi := 0.0, tol
		for range 30 {
			if mid := (lo + hi) / 2; shorter(mid, tol, sd) < 0.05 {
				lo = mid
			} else {
				hi = mid
			}
		}
		var est seat.Estimate
		est.Cov[0][0], est.Cov[1][1] = sd*sd, sd*sd
		at := newSize(0.05, 0)
		for _, c := range []struct{ mm, want float64 }{{0, 1 - math.Exp(-lo*lo/(2*sd*sd))}, {tol, 0.05}} {
			n := 0.0
			for range draws {
				est.Value[0], est.Value[1] = c.mm+sd*rng.NormFloat64(), sd*rng.NormFloat64()
				if newDistanceTests(est, tol).pWithin(tol, at) <= at.alpha {
					n++
				}
			}
			if got := n / draws; math.Abs(got-c.want) > 3.5*math.Sqrt(c.want*(1-c.want)/draws) {
				t.Errorf("standard deviation %.2f mm, %g mm off: use in %.3f, by closed form %.3f", sd, c.mm, got, c.want)
			}
		}
	}
}

// TestDistanceWide: an estimate that happens to fall on the worn mean shows
// nothing when its interval is wider than the tolerance.
func TestDistanceWide(t *testing.T) {
	for _, c := range []struct {
		sd   float64
		want Outcome
	}{{0.5, Use}, {1.7, Use}, {1.9, Undetermined}, {4, Undetermined}} {
		var est seat.Estimate
		est.Cov[0][0], est.Cov[1][1] = c.sd*c.sd, c.sd*c.sd
		if got, d := judgeAlone(est, 3, 0.95); got != c.want {
			t.Errorf("standard deviation %.1f mm, interval to %.1f mm: %s, want %s", c.sd, d[2], got, c.want)
		}
	}
}
