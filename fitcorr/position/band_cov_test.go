package position

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// Seatings that scatter by one shape over the bands, as a cushion does: the covariance
// that is learned tells the shape from a displacement, which a smooth one does not.
func TestScatterOfOneShape(t *testing.T) {
	const shapeDB = 0.6
	shape := func(hz float64) float64 { return shapeDB * math.Cos(5*math.Log2(hz/1000)) }
	var own, smooth, n float64 // squared errors, mm²
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 3))
		var at [][3]float64
		for range 14 {
			at = append(at, [3]float64{3 * rng.NormFloat64(), 3 * rng.NormFloat64()})
		}
		var ss []seat.Seating
		for _, s := range toy.NewFixture(40+seed, at, [3]float64{}, 0, 0, 0.05).Seatings {
			if s.Point != capture.Blocked {
				continue
			}
			for e := range s.Ears {
				z := rng.NormFloat64()
				for b, f := range band.All() {
					s.Ears[e].LevelDB[b] += z * shape(f.Mid)
				}
			}
			ss = append(ss, s)
		}
		l, err := Learn("M", capture.Blocked, ss)
		if err != nil {
			t.Fatal(err)
		}
		square := func(l Learned) (sum float64) {
			m := l.Place(capture.Blocked, ss)
			for i, d := range at {
				for k, s := range ss {
					if s.ID == fmt.Sprint("f", i) {
						o := m.Placed[k].Offset.Headset.Value
						sum += (o[0]-d[0])*(o[0]-d[0]) + (o[1]-d[1])*(o[1]-d[1])
					}
				}
			}
			return sum
		}
		own += square(l)
		for e := range l.Scatter {
			l.Scatter[e] = BandCov{Smooth: l.Scatter[e].Smooth}
			l.Total[e] = BandCov{Smooth: l.Total[e].Smooth}
		}
		smooth += square(l)
		n += float64(2 * len(at))
	}
	t.Logf("RMS %.2f mm, with smooth covariances %.2f mm", math.Sqrt(own/n), math.Sqrt(smooth/n))
	if own > 0.8*0.8*smooth {
		t.Errorf("RMS %.2f mm is not below 0.8 of %.2f mm, that with smooth covariances", math.Sqrt(own/n), math.Sqrt(smooth/n))
	}
}

// As many independent draws as the smooth covariance is worth have half of the weight; gains, which
// are free in every seating, are no scatter of them; and what comes of it is a covariance.
func TestShrunkIsACovariance(t *testing.T) {
	bands := survey.NewBands()
	flat := SmoothCov{SD: make([]float64, bands.N), Width: 0.3, Nugget: 0.1}
	for b := range flat.SD {
		flat.SD[b] = 1
	}
	d := newDraws(bands.N)
	if c := d.shrunk(flat, bands, 1); c.Weight != 0 || !mat.Equal(c.Matrix(bands), flat.Matrix(bands)) {
		t.Error("without a draw the covariance is not the smooth one")
	}
	for i := range int(2 * smoothWorth) {
		curve := make([]float64, bands.N)
		for b := range curve {
			curve[b] = 2*float64(1-b%2*2) + 5*float64(i)
		}
		d.add(curve, nil, 1)
	}
	c := d.shrunk(flat, bands, 2)
	m := c.Matrix(bands)
	const mid = 20
	if c.Weight != 0.5 || math.Abs(m.At(mid, mid)-2.5) > 0.2 || math.Abs(m.At(mid, bands.N-1)+2) > 0.2 {
		t.Errorf("weight %g, variance %g, covariance of a band with the last %g", c.Weight, m.At(mid, mid), m.At(mid, bands.N-1))
	}
	var chol mat.Cholesky
	if !chol.Factorize(m) {
		t.Error("not positive definite")
	}
}
