package calibrator

import (
	"encoding/binary"
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

func TestMeasure(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, hz := range []float64{1000, 1003.7, 250, 998.2} {
		x := steady(hz, 0.2, 5)
		for i := range x {
			x[i] += 0.01 + 2e-4*rng.NormFloat64() + 0.002*math.Sin(3*2*math.Pi*hz/48000*float64(i))
		}
		c, err := Measure(x, 48000, 114)
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

func TestMeasureRefuses(t *testing.T) {
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
		if _, err := Measure(c.x, 48000, 94); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// FuzzMeasure feeds any samples as a calibrator: an error or finite numbers.
func FuzzMeasure(f *testing.F) {
	tone := make([]byte, 0, 16000)
	for i := range 8000 {
		tone = binary.LittleEndian.AppendUint16(tone, uint16(int16(12000*math.Sin(2*math.Pi*1000*float64(i)/8000))))
	}
	f.Add(tone, 8000.0, 94.0)
	f.Add(tone[:100], 8000.0, 114.0)
	f.Add(make([]byte, 20000), 44100.0, 94.0)
	f.Fuzz(func(t *testing.T, b []byte, rate, level float64) {
		if !(rate >= 8000 && rate <= 384000) || !(level >= 40 && level <= 140) { // what the settings allow
			return
		}
		x := make([]float64, len(b)/2)
		for i := range x {
			x[i] = float64(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
		}
		c, err := Measure(x, rate, level)
		if err != nil {
			return
		}
		for _, v := range []float64{c.PaPerUnit, c.Hz, c.LevelDBFS, c.PurityDB, c.StabilityDB} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", c)
			}
		}
	})
}
