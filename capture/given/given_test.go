package given

import (
	"math"
	"math/cmplx"
	"path/filepath"
	"testing"

	"asworn/capture/band"
	"asworn/capture/curve"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/wavfile"
)

const rate = 48000

// resonance returns the impulse response of a resonator, delayed by delay samples,
// and the mean of its power over a band in closed form, dB:
// y[n] = x[n] + 2r·cosθ·y[n−1] − r²·y[n−2].
func resonance(n, delay int, f0, r float64) (h []float64, level func(b band.Band) float64) {
	theta := 2 * math.Pi * f0 / rate
	a1, a2 := 2*r*math.Cos(theta), -r*r
	h = make([]float64, n)
	for i := delay; i < n; i++ {
		if i == delay {
			h[i] = 0.1
		}
		if i > delay {
			h[i] += a1 * h[i-1]
		}
		if i > delay+1 {
			h[i] += a2 * h[i-2]
		}
	}
	return h, func(b band.Band) float64 {
		const steps = 200
		sum := 0.0
		for i := range steps {
			f := b.Lower + (b.Upper-b.Lower)*(float64(i)+0.5)/steps
			z := cmplx.Rect(1, -2*math.Pi*f/rate)
			sum += math.Pow(0.1/cmplx.Abs(1-complex(a1, 0)*z-complex(a2, 0)*z*z), 2) / steps
		}
		return 10 * math.Log10(sum)
	}
}

func open(t *testing.T, channels ...[]float64) *wavfile.Reader {
	t.Helper()
	name := filepath.Join(t.TempDir(), "h.wav")
	if err := wavfile.Write(name, wavfile.Format{Channels: len(channels), RateHz: rate, Float: true, Bits: 32}, channels); err != nil {
		t.Fatal(err)
	}
	r, err := wavfile.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// TestImpulse: the levels are those of the filter's closed form, less the
// microphone's own response, wherever the direct sound lies in the file.
func TestImpulse(t *testing.T) {
	setup := study.Setup{Left: 1, Right: 2}
	setup.Microphones[study.Right].Response = curve.Curve{Hz: []float64{100, 10000}, DB: []float64{2, 2}}
	for _, delay := range []int{3, 480, 12000} {
		left, levelLeft := resonance(rate, delay, 3000, 0.98)
		right, levelRight := resonance(rate, delay+20, 500, 0.99)
		rec, err := Impulse(open(t, left, right), setup)
		if err != nil {
			t.Fatal(err)
		}
		if !rec.Quality.Usable() {
			t.Fatalf("delay %d: %+v", delay, rec.Quality)
		}
		for i, b := range band.All() {
			for e, want := range []float64{levelLeft(b), levelRight(b) - 2} {
				r := rec.Ears[e]
				if r.Valid[i] != (b.Upper <= 0.45*rate) || math.Abs(r.LevelDB[i]-want) > 0.02 {
					t.Errorf("delay %d, ear %d, %.0f Hz: %.3f dB (%v), want %.3f", delay, e, b.Mid, r.LevelDB[i], r.Valid[i], want)
				}
			}
		}
		if d := rec.Ears[1].Delay - rec.Ears[0].Delay; math.Abs(d-20) > 20 {
			t.Errorf("the right ear comes %g samples later", d)
		}
	}
}

// TestImpulseFindings: what is wrong with an impulse response is found, and what
// cannot be told is said.
func TestImpulseFindings(t *testing.T) {
	whole, _ := resonance(rate, 480, 3000, 0.98)
	other, _ := resonance(rate, 480, 2000, 0.98)
	short, _ := resonance(900, 480, 300, 0.999)
	setup := study.Setup{Left: 1, Right: 2}
	noise, sweep := make([]float64, rate/4), make([]float64, 4*rate) // a second of sweep, twice, between silences
	state := uint64(1)
	for i := range noise {
		state = state * 48271 % 2147483647
		noise[i] = float64(state)/2147483647 - 0.5
	}
	for i := range rate {
		v := 0.5 * math.Sin(2000*math.Expm1(5*float64(i)/rate))
		sweep[rate/2+i], sweep[2*rate+i] = v, v
	}
	for _, c := range []struct {
		name        string
		left, right []float64
		want        finding.Code
		usable      bool
	}{
		{"good", whole, other, finding.GivenResponse, true},
		{"silent", whole, make([]float64, rate), finding.Silent, false},
		{"noise", noise, other, finding.NoExcitation, false},
		{"a recording of sweeps", sweep, append(other[:rate:rate], make([]float64, 3*rate)...), finding.NoExcitation, false},
		{"one for both", whole, whole, finding.IdenticalChannels, false},
		{"cut off", short, short[:899:899], finding.Truncated, true},
	} {
		n := min(len(c.left), len(c.right))
		rec, err := Impulse(open(t, c.left[:n], c.right[:n]), setup)
		if c.name == "cut off" {
			c.usable = rec.Quality.Usable() // both ears are one here
		}
		if err != nil || !finding.Has(rec.Quality.Findings, c.want) || rec.Quality.Usable() != c.usable {
			t.Errorf("%s: %v, %+v", c.name, err, rec.Quality)
		}
	}
	if _, err := Impulse(open(t, whole), setup); err == nil {
		t.Error("a channel that is not there passes")
	}
	if _, err := Impulse(open(t, make([]float64, rate*(maxImpulseSeconds+1))), study.Setup{Left: 1}); err == nil {
		t.Error("a recording passes for an impulse response")
	}
}

// TestImpulseNoise: noise outside the window sets which bands count and how sure
// their levels are.
func TestImpulseNoise(t *testing.T) {
	h, _ := resonance(2*rate, rate, 3000, 0.98)
	state := uint64(1)
	for i := range h { // a generator of Park and Miller: white enough
		state = state * 48271 % 2147483647
		h[i] += 0.03 * (float64(state)/2147483647 - 0.5)
	}
	rec, err := Impulse(open(t, h), study.Setup{Left: 1})
	if err != nil {
		t.Fatal(err)
	}
	r := rec.Ears[0]
	at := func(hz float64) int {
		for i, b := range band.All() {
			if b.Upper > hz {
				return i
			}
		}
		return 0
	}
	if lo, hi := at(30), at(3000); r.Valid[lo] || !r.Valid[hi] || r.StdErrDB[hi] >= r.StdErrDB[lo] || r.StdErrDB[hi] == 0 {
		t.Errorf("30 Hz: %v ± %.2f dB; 3 kHz: %v ± %.3f dB", r.Valid[lo], r.StdErrDB[lo], r.Valid[hi], r.StdErrDB[hi])
	}
}

// TestCurves: a band counts where points lie about it; its level is the curve's.
func TestCurves(t *testing.T) {
	var fine curve.Curve
	for f := 20.0; f < 21000; f *= math.Pow(2, 1./48) {
		fine.Hz, fine.DB = append(fine.Hz, f), append(fine.DB, 3*math.Log2(f/1000))
	}
	coarseCurve := curve.Curve{Hz: []float64{100, 200, 260, 300, 340, 2000, 8000}, DB: []float64{0, 0, 0, 0, 0, 0, 0}}
	rec := Curves([2]curve.Curve{fine, coarseCurve})
	for i, b := range band.All() {
		if inside := b.Lower > 20 && b.Upper < fine.Hz[len(fine.Hz)-1]; inside != rec.Ears[0].Valid[i] {
			t.Errorf("%.0f Hz counts: %v", b.Mid, rec.Ears[0].Valid[i])
		} else if want := 3 * math.Log2(b.Mid/1000); inside && math.Abs(rec.Ears[0].LevelDB[i]-want) > 0.02 {
			t.Errorf("%.0f Hz: %.3f dB, want %.3f", b.Mid, rec.Ears[0].LevelDB[i], want)
		}
		if b.Mid > 500 && rec.Ears[1].Valid[i] {
			t.Errorf("%.0f Hz counts, between points of two octaves", b.Mid)
		}
	}
	if !finding.Has(rec.Quality.Findings, finding.CoarseCurve) || !rec.Quality.Usable() {
		t.Errorf("%+v", rec.Quality)
	}
}
