package lattice

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

func place(forward, up, turn float64) simulate.Placement {
	return simulate.Placement{Displacement: capture.Displacement{ForwardMM: forward, UpMM: up, RotationDeg: turn}}
}

// Same seed, same values, from whichever goroutine.
func TestSame(t *testing.T) {
	g := &simulate.Grid{Hz: []float64{40, 400, 4000, 14000}}
	open := []bool{false, true}
	w := World(7, simulate.BarDesign(), open)
	var wait sync.WaitGroup
	got := make([][]complex128, 6)
	for i := range got {
		wait.Go(func() { got[i] = w.Headphone(i%2, 3, capture.Right, place(1, -2, 3), g) })
	}
	wait.Wait()
	for i := range got {
		if want := World(7, simulate.BarDesign(), open).Headphone(i%2, 3, capture.Right, place(1, -2, 3), g); !slices.Equal(got[i], want) {
			t.Errorf("model %d: %v, then %v", i%2, got[i], want)
		}
	}
}

func TestEars(t *testing.T) {
	g := &simulate.Grid{Hz: []float64{60, 3000, 7000, 12000}}
	d := simulate.BarDesign()
	d.EarStrength = 0
	w := World(3, d, []bool{false})
	for subject := 1; subject <= d.Listeners; subject++ {
		a, b := w.Headphone(0, 0, capture.Left, place(2, 1, 0), g), w.Headphone(0, subject, capture.Left, place(2, 1, 0), g)
		if !slices.Equal(a, b) || !slices.Equal(w.Canal(0, 0, g), w.Canal(subject, 1, g)) {
			t.Errorf("subject %d differs although ears are alike", subject)
		}
	}
	d.EarStrength = 1
	v := World(3, d, []bool{false}).(*world)
	if a, b := v.Loudspeaker(d.Listeners, capture.Left, 0, [2]float64{}, g), v.Loudspeaker(d.Listeners, capture.Right, 0, [2]float64{}, g); !slices.Equal(a, b) {
		t.Error("the fixture's ears differ")
	}
	if a, b := v.Headphone(0, 0, capture.Left, place(0, 0, 0), g), v.Headphone(0, 1, capture.Left, place(0, 0, 0), g); slices.Equal(a, b) {
		t.Error("listeners do not differ")
	}
}

func TestSidesCorrelate(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var left, right []float64
	for range 400 {
		p := drawPair(r)
		left, right = append(left, p[0][1], p[0][20]), append(right, p[1][1], p[1][20])
	}
	if c := stat.Correlation(left, right, nil); math.Abs(c-0.9) > 0.03 {
		t.Errorf("left and right correlate with %.2f, not 0.9", c)
	}
	if s := stat.StdDev(left, nil); math.Abs(s-1) > 0.1 {
		t.Errorf("standard deviation %.2f, not 1", s)
	}
}

// Curves come from the knots by splines; the lattice itself is close to them.
func TestKnots(t *testing.T) {
	w := World(3, simulate.BarDesign(), []bool{false, false, true}).(*world)
	var hz []float64
	for f := 20.0; f < 16000; f *= 1.05 {
		hz = append(hz, f)
	}
	for m := range w.cups {
		p := simulate.Placement{SlitMM: 0.15 * float64(m)}
		on := w.cups[m][0].on(&w.ears[m][0], p)
		sum := 0.0
		x := make([]complex128, len(on.driver))
		for i, h := range w.Headphone(m, m, capture.Left, p, &simulate.Grid{Hz: hz}) {
			face, entry := on.impedances(hz[i], p.SlitMM, x)
			d := 20 * math.Log10(cmplx.Abs(h/on.cup.pressure(hz[i], face, entry)))
			sum += d * d
			if math.Abs(d) > 0.5 || hz[i] < 1000 && math.Abs(d) > 0.05 {
				t.Errorf("model %d, %.0f Hz: %.3f dB between knots", m, hz[i], d)
			}
		}
		if rms := math.Sqrt(sum / float64(len(hz))); rms > 0.1 {
			t.Errorf("model %d: %.3f dB RMS between knots", m, rms)
		}
	}
}

// The canal is transparent at low frequencies and has its first resonance
// where a quarter of a wave fits it and its mouth.
func TestCanal(t *testing.T) {
	c := canal{length: 0.0235, radius: 0.0036, drum: 1}
	if l := 20 * math.Log10(cmplx.Abs(c.transfer(50))); math.Abs(l) > 0.1 {
		t.Errorf("%.2f dB at 50 Hz", l)
	}
	best, at := 0.0, 0.0
	for f := 1000.0; f < 7000; f += 20 {
		if v := cmplx.Abs(c.transfer(f)); v > best {
			best, at = v, f
		}
	}
	if at < 2500 || at > 4500 {
		t.Errorf("first resonance at %.0f Hz", at)
	}
}

func BenchmarkHeadphone(b *testing.B) {
	w, g := World(1, simulate.BarDesign(), []bool{false}), simulate.NewBandGrid()
	for b.Loop() {
		w.Headphone(0, 0, capture.Left, simulate.Placement{SlitMM: 0.2}, &g.Grid)
	}
}
