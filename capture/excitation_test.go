package capture_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// mls returns a maximum-length sequence of order 16 by the primitive
// polynomial x¹⁶+x¹⁵+x¹³+x⁴+1.
func mls() []float64 {
	x := make([]float64, 1<<16-1)
	state := uint32(1)
	for i := range x {
		bit := (state ^ state>>1 ^ state>>3 ^ state>>12) & 1
		state = state>>1 | bit<<15
		x[i] = 0.2*float64(state&1) - 0.1
	}
	return x
}

// music is a make-believe piece of 4 s: plucked notes over a bass, with rests.
var music = sync.OnceValue(func() []float64 {
	const n = 4 * 48000
	r := rand.New(rand.NewPCG(5, 5))
	x := make([]float64, n)
	for at := 0; at < n; at += 6000 {
		f := 55 * math.Pow(2, float64(r.IntN(60))/12)
		decay := 0.05 + 0.4*r.Float64()
		for i := at; i < min(n, at+24000); i++ {
			t := float64(i-at) / 48000
			env := math.Exp(-t / decay)
			for h := 1.0; h*f < 20000 && h < 40; h++ {
				x[i] += 0.05 * env / h * math.Sin(2*math.Pi*h*f*t)
			}
			x[i] += 0.1 * math.Exp(-t/0.02) * r.NormFloat64()
		}
	}
	return x
})

func TestAnyExcitation(t *testing.T) {
	const rate = 48000
	r := rand.New(rand.NewPCG(3, 3))
	white := make([]float64, 2*rate)
	for i := range white {
		white[i] = 0.1 * r.NormFloat64()
	}
	foreign := sweep.Design{StartHz: 5, StopHz: 23000, Seconds: 3, RateHz: rate}.Sweep()
	for _, c := range []struct {
		name      string
		x         []float64
		repeats   int
		gap       float64
		loop      int
		ppm       float64
		tolerance float64
		from      float64
	}{
		{"sweep file", foreign, 1, 0, 0, 0, 0.0005, 25},
		{"sweep file, drift, two repeats", foreign, 2, 1, 0, 80, 0.0005, 25},
		{"white noise", white, 1, 0, 0, 0, 0.0001, 25},
		{"white noise, loopback", white, 1, 0, 3, 0, 0.0001, 25},
		{"white noise, two repeats, drift", white, 2, 1, 0, 50, 0.0025, 25},
		{"white noise, drift", white, 1, 0, 0, 50, 0.0025, 25},
		{"pink noise", pinkNoise(2*rate, 9), 1, 0, 0, 0, 0.0001, 25},
		{"MLS, four periods", mls(), 4, 0, 0, 0, 0.0001, 25},
		{"music", music(), 1, 0, 0, 0, 0.0001, 100},
	} {
		if testing.Short() && c.ppm != 0 { // resampled without regard to speed
			continue
		}
		p, err := capture.NewProcessor(study.Setup{
			Sweep:      sweep.Design{RateHz: rate, Repeats: c.repeats, GapSeconds: c.gap, LeadSeconds: 0.5},
			Excitation: c.x, Left: 1, Right: 2, Loopback: c.loop})
		if err != nil {
			t.Fatal(err)
		}
		play := playedFile(c.x, c.repeats, c.gap, rate)
		if c.ppm != 0 {
			play = resampleSlowly(play, 1+c.ppm*1e-6)
		}
		ch := [][]float64{earFilters[0].run(play), earFilters[1].run(play), play}
		for e := range 2 {
			noise(ch[e], 1e-6, uint64(e))
		}
		rec, err := p.ProcessSamples(ch, rate)
		if err != nil {
			t.Fatal(err)
		}
		if len(rec.Quality.Findings) > 0 {
			t.Errorf("%s: findings on a good recording: %+v", c.name, rec.Quality.Findings)
		}
		for e, r := range rec.Ears {
			var coherence []float64
			invalid := 0
			big, where := 0.0, 0.0
			for i, b := range band.All() {
				if b.Lower < c.from || b.Upper > 20000 {
					continue
				}
				if !r.Valid[i] {
					invalid++
				}
				if r.Coherence != nil {
					coherence = append(coherence, r.Coherence[i])
				}
				if d := math.Abs(r.LevelDB[i] - earLevels()[e][i]); d > big {
					big, where = d, b.Mid
				}
			}
			least := 1.0
			if coherence != nil {
				least = slices.Min(coherence)
			}
			t.Logf("%s, ear %d: worst %.4f dB at %.0f Hz, %d invalid, drift %.3f ± %.3f ppm, least coherence %.6f", c.name, e, big, where, invalid, rec.DriftPPM, rec.DriftSEPPM, least)
			if big > c.tolerance+lastDigit || invalid > 0 {
				t.Errorf("%s, ear %d: worst %.4f dB at %.0f Hz, want at most %g; %d bands invalid", c.name, e, big, where, c.tolerance, invalid)
			}
		}
	}
}

// resampleSlowly interpolates by a long windowed sinc, written without regard
// to speed and apart from the one under test.
func resampleSlowly(x []float64, ratio float64) []float64 {
	const half = 40
	y := make([]float64, int(float64(len(x))*ratio))
	for i := range y {
		at := float64(i) / ratio
		sin := [2]float64{math.Sin(math.Pi * (at - math.Floor(at)))} // of π·d, which changes sign from sample to sample
		sin[1] = -sin[0]
		for j := max(0, int(at)-half+1); j <= min(len(x)-1, int(at)+half); j++ {
			d := at - float64(j)
			if d == 0 {
				y[i] += x[j]
				continue
			}
			w := math.Cos(math.Pi / 2 * d / half)
			y[i] += x[j] * sin[(j-int(at))&1] / (math.Pi * d) * w * w
		}
	}
	return y
}

// playedFile is what the player puts out: silence, the excitation as often as
// asked with a gap in seconds behind each, and a second of silence, at rate Hz.
func playedFile(x []float64, repeats int, gap, rate float64) []float64 {
	play := make([]float64, 30000)
	for range repeats {
		play = append(play, x...)
		play = append(play, make([]float64, int(gap*rate))...)
	}
	return append(play, make([]float64, int(rate))...)
}
