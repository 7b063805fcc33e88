package capture_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/sweep"
)

// biquad is a second-order section, for filters whose response is known.
type biquad struct{ b0, b1, b2, a1, a2 float64 }

func (q biquad) run(x []float64) {
	var z1, z2 float64
	for i, v := range x {
		y := q.b0*v + z1
		z1 = q.b1*v - q.a1*y + z2
		z2 = q.b2*v - q.a2*y
		x[i] = y
	}
}

func (q biquad) power(f, rate float64) float64 {
	w := 2 * math.Pi * f / rate
	c1, s1 := math.Cos(w), math.Sin(w)
	c2, s2 := math.Cos(2*w), math.Sin(2*w)
	nr, ni := q.b0+q.b1*c1+q.b2*c2, q.b1*s1+q.b2*s2
	dr, di := 1+q.a1*c1+q.a2*c2, q.a1*s1+q.a2*s2
	return (nr*nr + ni*ni) / (dr*dr + di*di)
}

// peak and highpass follow the usual bilinear designs (R. Bristow-Johnson,
// Audio EQ Cookbook).
func peak(f, q, db, rate float64) biquad {
	a, w := math.Pow(10, db/40), 2*math.Pi*f/rate
	al := math.Sin(w) / (2 * q)
	n := 1 + al/a
	return biquad{(1 + al*a) / n, -2 * math.Cos(w) / n, (1 - al*a) / n, -2 * math.Cos(w) / n, (1 - al/a) / n}
}

func highpass(f, q, rate float64) biquad {
	w := 2 * math.Pi * f / rate
	al, c := math.Sin(w)/(2*q), math.Cos(w)
	n := 1 + al
	return biquad{(1 + c) / 2 / n, -(1 + c) / n, (1 + c) / 2 / n, -2 * c / n, (1 - al) / n}
}

type chain []biquad

func (c chain) run(x []float64) []float64 {
	y := append([]float64(nil), x...)
	for _, q := range c {
		q.run(y)
	}
	return y
}

// level is the power average over a band by 400-point midpoint rule.
func (c chain) level(b band.Band, rate float64) float64 {
	const n = 400
	sum := 0.0
	for i := range n {
		p := 1.0
		f := b.Lower + (b.Upper-b.Lower)*(float64(i)+0.5)/n
		for _, q := range c {
			p *= q.power(f, rate)
		}
		sum += p / n
	}
	return 10 * math.Log10(sum)
}

func noise(x []float64, sigma float64, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 1))
	for i := range x {
		x[i] += sigma * r.NormFloat64()
	}
}

func delayed(x []float64, by int) []float64 {
	return append(make([]float64, by), x...)
}

var earFilters = [2]chain{
	{highpass(25, 0.8, 48000), peak(90, 1, 5, 48000), peak(3000, 2, 9, 48000), peak(8500, 5, -12, 48000)},
	{highpass(35, 1, 48000), peak(200, 2, -4, 48000), peak(2700, 3, 10, 48000), peak(9700, 8, -15, 48000)},
}

func worst(t *testing.T, r capture.Response, c chain, from, to float64) (float64, float64) {
	t.Helper()
	worst, at := 0.0, 0.0
	for i, b := range band.All() {
		if b.Lower < from || b.Upper > to {
			continue
		}
		if !r.Valid[i] {
			t.Errorf("band %.1f Hz is not valid", b.Mid)
			continue
		}
		if d := math.Abs(r.LevelDB[i] - c.level(b, r.RateHz)); d > worst {
			worst, at = d, b.Mid
		}
	}
	return worst, at
}

func TestKnownFilters(t *testing.T) {
	d := sweep.Default()
	for _, loop := range []int{0, 3} {
		p, err := capture.NewProcessor(capture.Setup{Sweep: d, Left: 1, Right: 2, Loopback: loop})
		if err != nil {
			t.Fatal(err)
		}
		x := delayed(d.Signal(), 1234)
		rec, err := p.ProcessSamples([][]float64{earFilters[0].run(x), earFilters[1].run(x), x}, 48000)
		if err != nil {
			t.Fatal(err)
		}
		if len(rec.Quality.Findings) > 0 {
			t.Errorf("findings on a good recording: %+v", rec.Quality.Findings)
		}
		for e, r := range rec.Ears {
			w, at := worst(t, r, earFilters[e], 19, 20500)
			t.Logf("loopback %d, ear %d: worst %.5f dB at %.0f Hz; drift %.4f ± %.4f ppm", loop, e, w, at, rec.DriftPPM, rec.DriftSEPPM)
			if w > 0.01 {
				t.Errorf("worst error %.4f dB at %.1f Hz, want at most 0.01", w, at)
			}
		}
	}
}
