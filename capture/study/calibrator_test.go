package study

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// steady is a recording of a tone at 48 kHz.
func steady(hz, level, seconds float64) []float64 {
	x := make([]float64, int(seconds*48000))
	for i := range x {
		x[i] = level * math.Sin(2*math.Pi*hz/48000*float64(i))
	}
	return x
}

func TestCalibrate(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, hz := range []float64{1000, 1003.7, 250, 998.2} {
		x := steady(hz, 0.2, 5)
		for i := range x {
			x[i] += 0.01 + 2e-4*rng.NormFloat64() + 0.002*math.Sin(3*2*math.Pi*hz/48000*float64(i))
		}
		c, err := Calibrate(x, 48000, 114)
		if err != nil {
			t.Fatal(err)
		}
		// 114 dB SPL is 10.024 Pa (20 µPa · 10^5.7).
		if want := 10.0237 / (0.2 / math.Sqrt2); math.Abs(20*math.Log10(c.PaPerUnit/want)) > 0.001 {
			t.Errorf("%g Hz: %g Pa per unit, want %g", hz, c.PaPerUnit, want)
		}
		if math.Abs(c.Hz-hz) > 0.001 {
			t.Errorf("%g Hz found for %g", c.Hz, hz)
		}
		// Noise and third harmonic against the tone, from their amplitudes.
		if want := 10 * math.Log10(0.02/(2e-6+4e-8)); math.Abs(c.PurityDB-want) > 0.1 {
			t.Errorf("purity %g dB, want %g", c.PurityDB, want)
		}
		if c.StabilityDB > 0.01 || math.Abs(c.LevelDBFS-20*math.Log10(0.2)) > 0.001 {
			t.Errorf("%+v", c)
		}
	}
}

func TestCalibrateRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	noise := make([]float64, 96000)
	moved := steady(1000, 0.1, 2)
	for i := range noise {
		noise[i] = 0.1 * rng.NormFloat64()
		moved[i] *= 1 + 0.1*float64(i)/96000
	}
	loud := steady(1000, 1.2, 2)
	for i := range loud {
		loud[i] = max(-1, min(1, loud[i]))
	}
	for name, c := range map[string]struct {
		x    []float64
		says string
	}{
		"silence": {make([]float64, 96000), "silence"},
		"short":   {steady(1000, 0.1, 0.2), "too short"},
		"noise":   {noise, "above all else"},
		"440 Hz":  {steady(440, 0.1, 2), "440.0 Hz; a calibrator has 1000 or 250 Hz"},
		"moved":   {moved, "the level moves by"},
		"clipped": {loud, "full scale"},
	} {
		if _, err := Calibrate(c.x, 48000, 94); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
