package calibrator

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// calibratorTake draws the recording of a good calibrator of 2 s at 16 kHz:
// level, frequency within 1 %, hum and noise at −60 to −40 dB, up to 1 % of
// each of two harmonics, a level that wanders by up to 0.1 dB, a d.c. offset.
// Each fault adds to that.
func calibratorTake(r *rand.Rand, fault string, size float64) []float64 {
	const rate = 16000
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	hz := []float64{1000, 250}[r.IntN(2)] * between(0.99, 1.01)
	level := math.Pow(10, between(-40, -3)/20)
	hiss, hum := math.Pow(10, between(-60, -40)/20), math.Pow(10, between(-60, -40)/20)
	second, third := between(0, 0.01), between(0, 0.01)
	wander, phase, dc := between(-0.05, 0.05), between(0, 2*math.Pi), 0.002*r.NormFloat64()
	sign := float64(2*r.IntN(2) - 1)
	switch fault {
	case "frequency":
		hz = []float64{1000, 250}[r.IntN(2)] * (1 + sign*size/100)
	case "purity":
		hiss = math.Pow(10, -size/20)
	case "stability":
		wander = sign * size / 2 / 0.8 / 0.95 // the middle counts, as means over 0.1 s
	case "drift":
		level = math.Pow(10, between(-40, -6)/20) // room for the gain that changes
	}
	x := make([]float64, 2*rate)
	for i := range x {
		t := float64(i) / rate
		w := 2*math.Pi*hz*t + phase
		gain := level * math.Pow(10, wander*(t-1)/20)
		x[i] = gain*(math.Sin(w)+second*math.Sin(2*w)+third*math.Sin(3*w)) +
			level*(hiss/math.Sqrt2*r.NormFloat64()+hum*math.Sin(2*math.Pi*50*t)) + dc*level
	}
	return x
}

// TestCalibratorTable plants the faults of calibrator recordings in otherwise
// good ones, counts how often they are found, and what good ones raise. With
// ASWORN_LONG set and -v it prints rows of docs/developing/quality.md.
func TestCalibratorTable(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	n := 20
	if os.Getenv("ASWORN_LONG") != "" {
		n = 1000
	}
	var table strings.Builder
	for f, c := range []struct {
		fault, says, unit string
		sizes             []float64
		sure              int
	}{
		{"frequency", "a calibrator has", "% off", []float64{2.9, 3.1, 4, 6, 12}, 4},
		{"purity", "above all else", "dB over the rest", []float64{21, 19, 15, 10, 0}, 4},
		{"stability", "the level moves by", "dB", []float64{0.4, 0.6, 0.8, 1.5, 3}, 4},
	} {
		fmt.Fprintf(&table, "| calibrator: %s | study error | %d |", c.fault, n*len(c.sizes))
		for s, size := range c.sizes {
			found := 0
			for i := range n {
				r := rand.New(rand.NewPCG(uint64(f*10+s), uint64(i)))
				if _, err := Measure(calibratorTake(r, c.fault, size), 16000, 94); err != nil && strings.Contains(err.Error(), c.says) {
					found++
				}
			}
			fmt.Fprintf(&table, " %g: %.4g %%,", size, 100*float64(found)/float64(n))
			if s >= len(c.sizes)-c.sure && float64(found) < 0.95*float64(n) {
				t.Errorf("%s of %g %s: found in %d of %d", c.fault, size, c.unit, found, n)
			}
		}
		fmt.Fprintf(&table, " %s |\n", c.unit)
	}
	fmt.Fprintf(&table, "| calibrator: drift | finding of the study | %d |", 5*n)
	for s, size := range []float64{0, 0.1, 0.3, 0.5, 1} {
		found := 0
		for i := range n {
			r := rand.New(rand.NewPCG(uint64(900+s), uint64(i)))
			before := calibratorTake(r, "drift", 0)
			after := make([]float64, len(before))
			gain := math.Pow(10, math.Copysign(size, r.NormFloat64())/20)
			for j, v := range before {
				after[j] = gain * (v + 1e-4*math.Abs(before[0])*r.NormFloat64())
			}
			a, errA := Measure(before, 16000, 94)
			b, errB := Measure(after, 16000, 94)
			if errA == nil && errB == nil && math.Abs(20*math.Log10(b.PaPerUnit/a.PaPerUnit)) > MostDriftDB {
				found++
			}
		}
		fmt.Fprintf(&table, " %g: %.4g %%,", size, 100*float64(found)/float64(n))
		if size > MostDriftDB && found < n || size < MostDriftDB && found > 0 {
			t.Errorf("drift of %g dB: found in %d of %d", size, found, n)
		}
	}
	wrong := 0
	for i := range n {
		if _, err := Measure(calibratorTake(rand.New(rand.NewPCG(77, uint64(i))), "", 0), 16000, 94); err != nil {
			wrong++
			t.Log(err)
		}
	}
	if float64(wrong) > 0.005*float64(n) {
		t.Errorf("%d of %d good calibrator recordings refused", wrong, n)
	}
	t.Logf("\n%s dB |\n%d of %d good calibrator recordings refused", table.String(), wrong, n)
}
