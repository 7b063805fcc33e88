package export

import (
	"bufio"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"asworn/capture/band"
	"asworn/testdata/vectors"
)

// biquad is a peaking equaliser (the usual bilinear design), whose poles and
// zeros all lie inside the unit circle: its impulse response is the minimum
// phase response of its magnitude.
type biquad struct{ b, a [3]float64 }

func peaking(gainDB, f0, q, rate float64) biquad {
	a := math.Pow(10, gainDB/40)
	w := 2 * math.Pi * f0 / rate
	alpha := math.Sin(w) / (2 * q)
	return biquad{[3]float64{1 + alpha*a, -2 * math.Cos(w), 1 - alpha*a}, [3]float64{1 + alpha/a, -2 * math.Cos(w), 1 - alpha/a}}
}

func (f biquad) impulse(n int) []float64 {
	y := make([]float64, n)
	for i := range y {
		v := 0.0
		for k := range 3 {
			if i == k {
				v += f.b[k]
			}
			if k > 0 && i >= k {
				v -= f.a[k] * y[i-k]
			}
		}
		y[i] = v / f.a[0]
	}
	return y
}

func (f biquad) levelDB(hz, rate float64) float64 {
	level := func(c [3]float64) float64 {
		w := 2 * math.Pi * hz / rate
		re := c[0] + c[1]*math.Cos(w) + c[2]*math.Cos(2*w)
		im := c[1]*math.Sin(w) + c[2]*math.Sin(2*w)
		return 20 * math.Log10(math.Hypot(re, im))
	}
	return level(f.b) - level(f.a)
}

// Folding the cepstrum of a minimum-phase system's magnitude gives back the
// system's own impulse response.
func TestMinimumPhaseIsTheSystemItself(t *testing.T) {
	const rate = 48000
	eq := peaking(9, 1000, 2, rate)
	var hz, db []float64
	for f := 1.0; f < rate/2; f *= 1.002 {
		hz = append(hz, f)
		db = append(db, eq.levelDB(f, rate))
	}
	f, err := minimumPhase(hz, db, rate, 4096)
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for i, want := range eq.impulse(2000) {
		worst = max(worst, math.Abs(f.Taps[i]-want))
	}
	if worst > 1e-5 {
		t.Errorf("impulse response off by %.2g", worst)
	}
}

// correction is a curve such as a fixture seating might need.
func correction() (hz, db []float64) {
	for _, b := range band.All() {
		hz = append(hz, b.Mid)
		x := math.Log2(b.Mid / 1000)
		db = append(db, 3*math.Exp(-x*x*4)-4*math.Exp(-(x-2.5)*(x-2.5)*8)+2/(1+math.Exp(4*(x+4))))
	}
	return hz, db
}

// Both designs follow a correction at every rate within 0.1 dB.
func TestFiltersFollowTheCurve(t *testing.T) {
	hz, db := correction()
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		for name, design := range map[string]func([]float64, []float64, float64, int) (Filter, error){
			"linear": linearPhase, "minimum": minimumPhase,
		} {
			f, err := design(hz, db, rate, defaultTaps(rate))
			if err != nil {
				t.Fatal(err)
			}
			worst := 0.0
			for i := range hz {
				if hz[i] < 0.45*rate {
					worst = max(worst, math.Abs(f.LevelDB(hz[i])-db[i]))
				}
			}
			if worst != f.MaxErrorDB || worst > 0.1 {
				t.Errorf("%s phase at %g Hz: off by %.3f dB, says %.3f", name, rate, worst, f.MaxErrorDB)
			}
			if f.PeakDB < 2.9 || f.PeakDB > 3.2 {
				t.Errorf("%s phase at %g Hz: peak %.2f dB", name, rate, f.PeakDB)
			}
		}
	}
}

// Linear phase is symmetric about its delay; minimum phase holds its energy
// at the front.
func TestPhases(t *testing.T) {
	hz, db := correction()
	lin, err := linearPhase(hz, db, 48000, 4096)
	if err != nil {
		t.Fatal(err)
	}
	if len(lin.Taps) != 4097 || lin.Delay != 2048 {
		t.Errorf("%d taps, delay %g", len(lin.Taps), lin.Delay)
	}
	for i := range lin.Taps {
		if math.Abs(lin.Taps[i]-lin.Taps[len(lin.Taps)-1-i]) > 1e-12 {
			t.Fatalf("tap %d is not symmetric", i)
		}
	}
	minimum, err := minimumPhase(hz, db, 48000, 4096)
	if err != nil {
		t.Fatal(err)
	}
	early, all := 0.0, 0.0
	for i, v := range minimum.Taps {
		all += v * v
		if i < 48 {
			early += v * v
		}
	}
	if early < 0.99*all {
		t.Errorf("%.3f of the energy in the first millisecond", early/all)
	}
}

func TestFilterRefusals(t *testing.T) {
	for name, tc := range map[string]struct {
		hz, db []float64
		rate   float64
		taps   int
	}{
		"empty":        {nil, nil, 48000, 64},
		"lengths":      {[]float64{1, 2}, []float64{0}, 48000, 64},
		"falling":      {[]float64{2, 1}, []float64{0, 0}, 48000, 64},
		"zero hertz":   {[]float64{0, 1}, []float64{0, 0}, 48000, 64},
		"not a number": {[]float64{1, 2}, []float64{0, math.NaN()}, 48000, 64},
		"no rate":      {[]float64{1}, []float64{0}, 0, 64},
		"few taps":     {[]float64{1}, []float64{0}, 48000, 1},
	} {
		if _, err := linearPhase(tc.hz, tc.db, tc.rate, tc.taps); err == nil {
			t.Errorf("%s: linear phase accepted", name)
		}
		if _, err := minimumPhase(tc.hz, tc.db, tc.rate, tc.taps); err == nil {
			t.Errorf("%s: minimum phase accepted", name)
		}
	}
}

func Example_minimumPhase() {
	f, err := minimumPhase([]float64{100, 1000, 10000}, []float64{0, -3, 2}, 48000, 2048)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f dB at 1 kHz, %.1f dB at 10 kHz\n", f.LevelDB(1000), f.LevelDB(10000))
	// Output: -3.0 dB at 1 kHz, 2.0 dB at 10 kHz
}

func BenchmarkMinimumPhase(b *testing.B) {
	hz, db := correction()
	for b.Loop() {
		if _, err := minimumPhase(hz, db, 48000, defaultTaps(48000)); err != nil {
			b.Fatal(err)
		}
	}
}

// Both designs against SciPy (testdata/fir/make.py). The minimum-phase one is
// compared before its fade-out, in the first three quarters.
func TestVectorsFIR(t *testing.T) {
	read := func(name string) []float64 {
		var out []float64
		sc := bufio.NewScanner(vectors.Open(t, "fir", name))
		for sc.Scan() {
			for _, field := range strings.Split(sc.Text(), ",") {
				v, err := strconv.ParseFloat(field, 64)
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, v)
			}
		}
		return out
	}
	var hz, db []float64
	for i, v := range read("curve.csv") {
		if i%2 == 0 {
			hz = append(hz, v)
		} else {
			db = append(db, v)
		}
	}
	lin, err := linearPhase(hz, db, 48000, 1024)
	if err != nil {
		t.Fatal(err)
	}
	minimum, err := minimumPhase(hz, db, 48000, 1024)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want []float64
	}{
		{"linear", lin.Taps, read("linear.csv")},
		{"minimum", minimum.Taps[:768], read("minimum.csv")[:768]},
	} {
		if len(c.got) != len(c.want) {
			t.Fatalf("%s: %d taps, SciPy %d", c.name, len(c.got), len(c.want))
		}
		worst := 0.0
		for i := range c.got {
			worst = max(worst, math.Abs(c.got[i]-c.want[i]))
		}
		t.Logf("%s: within %.2g", c.name, worst)
		if worst > 2e-6 {
			t.Errorf("%s: off by %.2g from SciPy", c.name, worst)
		}
	}
}
