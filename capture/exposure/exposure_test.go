package exposure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The weighting A of IEC 61672-1:2013, table 3, 10 Hz to 20 kHz in third
// octaves. The table is rounded to 0.1 dB and holds at the exact frequencies
// 1000·10^(n/10). Quoted from memory; second source: all 34 values are the same
// in aspec.m of the Octave toolbox for octave filters (C. Couvreur, Faculté
// Polytechnique de Mons, 1997), which quotes the draft of the standard.
func TestAWeightingTable(t *testing.T) {
	table := []float64{-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4,
		-10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3}
	for i, want := range table {
		f := 1000 * math.Pow(10, float64(i-20)/10)
		if got := AWeightDB(f); math.Abs(got-want) > 0.05+1e-9 {
			t.Errorf("%.1f Hz: %.3f dB, table %.1f", f, got, want)
		}
	}
	if !math.IsInf(AWeightDB(0), -1) {
		t.Error("0 Hz must be −Inf")
	}
}

// A tone of 1 Pa RMS is 93.98 dB and differs from its A-weighted level by the
// weighting, whether or not the meter is longer than the tone. (Switching a low
// tone on and off makes a click that A lets through: 0.06 dB at 50 Hz.)
func TestMeterTones(t *testing.T) {
	const rate = 48000
	m, err := NewMeter(100000, rate)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []float64{50, 250, 1000, 4000, 12500} {
		x := make([]float64, rate)
		for i := range x {
			x[i] = math.Sqrt2 * math.Sin(2*math.Pi*f*float64(i)/rate)
		}
		z, a := m.Levels(x)
		if math.Abs(z-93.979) > 0.001 || math.Abs(a-z-AWeightDB(f)) > 0.1 {
			t.Errorf("%g Hz: %.3f dB, %.3f dB(A), weighting %.3f", f, z, a, AWeightDB(f))
		}
	}
}

// The unweighted level is the mean square of the samples, whatever the signal.
func TestMeterIsParseval(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{1, 2, 3, 1000, 4096, 4097} {
		x := make([]float64, n)
		sum := 0.0
		for i := range x {
			x[i] = rng.NormFloat64()
			sum += x[i] * x[i]
		}
		m, err := NewMeter(n, 44100)
		if err != nil {
			t.Fatal(err)
		}
		want := 10 * math.Log10(sum/float64(n)/(ReferencePa*ReferencePa))
		if z, _ := m.Levels(x); math.Abs(z-want) > 1e-9 {
			t.Errorf("%d samples: %.6f dB, want %.6f", n, z, want)
		}
	}
	if _, err := NewMeter(0, 48000); err == nil {
		t.Error("a meter for no samples")
	}
	if _, err := NewMeter(10, 0); err == nil {
		t.Error("a meter without a rate")
	}
}

// NIOSH publication 98-126, table 1-1: 85 dB for 8 h, 3 dB exchange rate
// (quoted from memory; the table halves exactly every 3 dB, energy every 3.01).
// Second source: the institute's own page on noise exposure gives 85 dB 8 h, 88 dB
// 4 h, 91 dB 2 h, 94 dB 60 min, 97 dB 30 min, 100 dB 15 min.
func TestAllowedDurations(t *testing.T) {
	l := Limits()[1]
	for level, minutes := range map[float64]float64{85: 480, 88: 240, 91: 120, 94: 60, 97: 30, 100: 15, 103: 7.5} {
		if got := l.Share(Session{}.With(level, 60*minutes)); math.Abs(got-1) > 0.02 {
			t.Errorf("%g dB for %g min: %.3f of the limit", level, minutes, got)
		}
	}
}

func TestSession(t *testing.T) {
	s := Session{}.With(85, 4*3600).With(85, 4*3600)
	if math.Abs(s.LEX8hDB()-85) > 1e-9 || math.Abs(Limits()[1].Share(s)-1) > 1e-9 {
		t.Errorf("eight hours at 85 dB: L_EX,8h %.3f", s.LEX8hDB())
	}
	if got := s.With(60, 0); got != s {
		t.Error("no time adds something")
	}
}

func ExampleSession() {
	// Five seatings of two three-second sweeps at 72 dB(A).
	var s Session
	for range 5 {
		s = s.With(72, 2*3)
	}
	limit := Limits()[0]
	fmt.Printf("L_EX,8h %.1f dB, %.2g %% of a day at the %s\n", s.LEX8hDB(), 100*limit.Share(s), limit.Name)
	// Output:
	// L_EX,8h 42.2 dB, 0.017 % of a day at the lower action value, Directive 2003/10/EC
}

func BenchmarkMeter(b *testing.B) {
	x := make([]float64, 3*48000)
	for i := range x {
		x[i] = math.Sin(float64(i))
	}
	m, _ := NewMeter(len(x), 48000)
	for b.Loop() {
		m.Levels(x)
	}
}
