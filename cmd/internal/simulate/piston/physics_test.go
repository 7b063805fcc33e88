package piston

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// On its axis a baffled piston of velocity v has the closed form
// p = ρcv(exp(−jkz) − exp(−jk√(z²+a²))) (Kinsler et al., Fundamentals of
// Acoustics, ch. 7; quoted from memory, and it follows from integrating over rings).
func TestRayleighOnAxis(t *testing.T) {
	const a, step = 0.02, 500.0
	for _, z := range []float64{0.02, 0.05, 0.2} {
		for _, c := range []struct {
			quad [][2]float64
			topN int
			tol  float64
		}{
			{disc(400, 8), 41, 0.002}, // to 20 kHz
			{fine, 33, 0.06},          // the one in use, to 16 kHz
		} {
			var src []point
			for _, q := range c.quad {
				src = append(src, point{x: a * q[0], y: a * q[1], z: z})
			}
			acc := make([]complex128, c.topN)
			rayleigh(acc, step, src, math.Pi*a*a/float64(len(src)), point{})
			for n := 1; n < c.topN; n++ {
				f := step * float64(n)
				k := 2 * math.Pi * f / simulate.SoundSpeed
				got := complex(0, f*simulate.AirDensity) * acc[n]
				far := math.Hypot(z, a)
				want := complex(simulate.AirDensity*simulate.SoundSpeed, 0) * (cmplx.Exp(complex(0, -k*z)) - cmplx.Exp(complex(0, -k*far)))
				if d := cmplx.Abs(got-want) / (simulate.AirDensity * simulate.SoundSpeed); d > c.tol {
					t.Errorf("%d points, z %g m, %g Hz: off by %.4f ρcv", len(src), z, f, d)
				}
			}
		}
	}
}

func someCup(t *testing.T, open bool) cup {
	t.Helper()
	return drawCup(rand.New(rand.NewPCG(3, 3)), open, 1)
}

func TestSealedCavityIsFlat(t *testing.T) {
	c := someCup(t, false)
	for _, f := range []float64{5, 20, 50, 100} {
		_, p := c.drive(f, 0, 0)
		if math.Abs(simulate.LevelDB(p)-20*math.Log10(c.gain)) > 0.2 {
			t.Errorf("%g Hz: %.2f dB, want %.2f", f, simulate.LevelDB(p), 20*math.Log10(c.gain))
		}
	}
}

// Narrow-slit numbers by hand for l = 10 mm, h = 0.2 mm, w = 50 mm:
// R = 12·1.825e-5·0.01/(8e-12·0.05) = 5.475e6, M = 6·1.204·0.01/(5·2e-4·0.05) = 1444.8.
func TestSlit(t *testing.T) {
	r, m := slit(2e-4, 0.05, 0.01)
	if math.Abs(r/5.475e6-1) > 1e-3 || math.Abs(m/1444.8-1) > 1e-3 {
		t.Errorf("R %g, M %g", r, m)
	}
}

// Far below its corner a leak takes 6 dB per octave; and everywhere below the
// driver's resonance it follows jωC(R+jωM)/(1−ω²MC+jωRC) with the compliance
// of cavity and driver together.
func TestLeakFollowsTheClosedForm(t *testing.T) {
	c := someCup(t, false)
	const slitMM = 0.3
	loss := func(f float64) float64 {
		_, tight := c.drive(f, 0, 0)
		_, leak := c.drive(f, slitMM, 0)
		return simulate.LevelDB(tight) - simulate.LevelDB(leak)
	}
	if d := loss(2) - loss(4); math.Abs(d-6) > 0.15 {
		t.Errorf("slope %.2f dB per octave, want 6", d)
	}
	r, m := slit(slitMM/1000, c.slitWidth, c.slitLength)
	r *= c.fill
	total := c.compliance(0) * (1 + c.stiffness)
	for _, f := range []float64{5, 20, 50, 100, 150} {
		w := 2 * math.Pi * f
		h := complex(0, w*total) * complex(r, w*m) / complex(1-w*w*m*total, w*r*total)
		if d := loss(f) + 20*math.Log10(cmplx.Abs(h)); math.Abs(d) > 0.3 {
			t.Errorf("%g Hz: off the closed form by %.2f dB", f, d)
		}
	}
	s := c.sealTruth(simulate.Placement{SlitMM: slitMM})
	if want := 1 / (2 * math.Pi * math.Sqrt(m*total)); math.Abs(s.CornerHz/want-1) > 1e-9 {
		t.Errorf("corner %g, want %g", s.CornerHz, want)
	}
	if math.Abs(s.LossDB[1]-loss(50)) > 1e-9 {
		t.Errorf("loss %g, want %g", s.LossDB[1], loss(50))
	}
}

// An open back falls off below its driver's resonance, by 12 dB per octave
// once the grille's path is a resistance, and has no seal to lose.
func TestOpenBackRollsOff(t *testing.T) {
	c := someCup(t, true)
	_, p10 := c.drive(10, 0, 0)
	_, p20 := c.drive(20, 0, 0)
	if d := simulate.LevelDB(p20) - simulate.LevelDB(p10); d < 5 || d > 13 {
		t.Errorf("%.1f dB per octave at 10 Hz", d)
	}
	if s := c.sealTruth(simulate.Placement{SlitMM: 0.3}); s != (simulate.Seal{}) {
		t.Errorf("open back has a seal: %+v", s)
	}
}

func TestMirror(t *testing.T) {
	// A source at 3 in a room from −10 to 10: images at 17, −23 and 43.
	for n, want := range map[float64]float64{0: 3, 1: 17, -1: -23, 2: 43, -2: -37} {
		if got := mirror(3, 10, n); got != want {
			t.Errorf("%g walls: %g, want %g", n, got, want)
		}
	}
}

// A source that turns with the headband's top toward the nose moves from above
// the cup's centre toward the nose, and a displaced cup takes it along.
func TestAxes(t *testing.T) {
	c := someCup(t, false)
	c.centre, c.driverX, c.driverY, c.lean = point{}, 0, 0.010, [2]float64{}
	mean := func(p simulate.Placement) (x, y float64) {
		for _, s := range c.sources(p)[0] {
			x, y = x+s.x/float64(len(fine)), y+s.y/float64(len(fine))
		}
		return x, y
	}
	x, y := mean(simulate.Placement{Displacement: capture.Displacement{ForwardMM: 2, UpMM: -3, RotationDeg: 90}})
	if math.Abs(x-0.012) > 1e-9 || math.Abs(y+0.003) > 1e-9 {
		t.Errorf("driver at %g, %g", x, y)
	}
}

// Where the wavelength is long, nothing about the ear matters: the entrance
// has the pressure of the free field, the drum that of the entrance.
func TestLongWaves(t *testing.T) {
	w := World(1, simulate.BarDesign(), []bool{false}).(*world)
	g := &simulate.Grid{Hz: []float64{20, 40}, StepHz: simulate.CoarseStepHz, Coarse: 5}
	for s := range w.ears {
		for i, p := range w.freeField(s, capture.Left, point{z: 1}, [2]float64{}, g) {
			if math.Abs(simulate.LevelDB(p)) > 0.2 {
				t.Errorf("subject %d, %g Hz: %.2f dB", s, g.Hz[i], simulate.LevelDB(p))
			}
		}
		for i, p := range w.Canal(s, capture.Left, g) {
			if math.Abs(simulate.LevelDB(p)) > 0.1 {
				t.Errorf("subject %d, %g Hz: canal %.2f dB", s, g.Hz[i], simulate.LevelDB(p))
			}
		}
	}
}

// The canal has its quarter-wave resonance between 2 and 4 kHz.
func TestCanalResonance(t *testing.T) {
	best, at := 0.0, 0.0
	for f := 1000.0; f < 6000; f += 50 {
		if l := simulate.LevelDB((canal{0.0245, 0.0037, 1}).transfer(f)); l > best {
			best, at = l, f
		}
	}
	if at < 2000 || at > 4000 || best < 6 || best > 20 {
		t.Errorf("%.1f dB at %g Hz", best, at)
	}
}

// The coarse sum agrees with one taken four times as fine.
func TestCoarseStep(t *testing.T) {
	w := World(1, simulate.BarDesign(), []bool{false, true})
	g := simulate.NewBandGrid()
	dense := *g
	dense.StepHz, dense.Coarse = g.StepHz/4, g.Coarse*4
	for m := range 2 {
		p := simulate.Placement{Displacement: capture.Displacement{ForwardMM: 3}}
		a := g.LevelDB(w.Headphone(m, 0, capture.Left, p, &g.Grid))
		b := g.LevelDB(w.Headphone(m, 0, capture.Left, p, &dense.Grid))
		for i := range a {
			if math.Abs(a[i]-b[i]) > 0.02 {
				t.Errorf("model %d, band %d: %.3f and %.3f dB", m, i, a[i], b[i])
			}
		}
	}
}

func BenchmarkHeadphone(b *testing.B) {
	w := World(1, simulate.BarDesign(), []bool{false})
	g := simulate.NewBandGrid()
	for b.Loop() {
		w.Headphone(0, 0, capture.Left, simulate.Placement{}, &g.Grid)
	}
}
