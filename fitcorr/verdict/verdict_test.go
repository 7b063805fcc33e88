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
	if nu := diskInvert(1.7, insideDisk(1.7, 2, 1, 1), 1, 1); math.Abs(nu-2) > 1e-6 {
		t.Errorf("inverse: %g, want 2", nu)
	}
}

// TestDistanceSize: on the tolerance neither test says more than its size
// allows, whatever the direction and the shape of the covariance.
func TestDistanceSize(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	rng := rand.New(rand.NewPCG(3, 4))
	const tol, draws = 3.0, 2000
	for _, sd := range [][2]float64{{0.6, 0.6}, {1, 0.4}, {0.3, 1.2}} {
		for _, phi := range []float64{0, 0.8, math.Pi / 2} {
			var est seat.Estimate
			est.Cov[0][0], est.Cov[1][1] = sd[0]*sd[0], sd[1]*sd[1]
			count := map[Outcome]int{}
			for range draws {
				est.Value[0] = tol*math.Cos(phi) + sd[0]*rng.NormFloat64()
				est.Value[1] = tol*math.Sin(phi) + sd[1]*rng.NormFloat64()
				o, _ := alone(est, tol, 0.95)
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
			if o, _ := alone(est, 3, 0.95); o == c.want {
				n++
			}
		}
		if p := float64(n) / draws; p < c.least {
			t.Errorf("%g mm off: %s in %.3f", c.offset, c.want, p)
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
		if got, d := alone(est, 3, 0.95); got != c.want {
			t.Errorf("standard deviation %.1f mm, interval to %.1f mm: %s, want %s", c.sd, d[2], got, c.want)
		}
	}
}
