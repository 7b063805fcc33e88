package capture_test

import (
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"sync"
	"testing"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// goodNoises are noises of good recordings and what is done to such recordings: none of it
// is lossy coding.
var goodNoises = []struct {
	name string
	make func(r *recipe)
}{
	{"white", func(*recipe) {}},
	{"faint", func(r *recipe) { r.noiseDB = r.between(-110, -70) }},
	{"of a resonance of the microphone", func(r *recipe) {
		r.noiseDB = -200
		hz, q := r.between(7000, 14000), r.between(1, 3)
		r.adds(-60, func(f float64) float64 { return 1 / math.Hypot(1-f*f/hz/hz, f/hz/q) }, nil)
	}},
	{"of 16 bits with shaped dither", func(r *recipe) {
		r.bits, r.noiseDB = 24, r.between(-110, -50)
		r.after = func(ch [][]float64) [][]float64 {
			for _, x := range ch[:2] {
				shapedDither(r, x)
			}
			return ch
		}
	}},
	{"of 16 bits without dither, made louder", func(r *recipe) {
		r.bits, r.noiseDB = 16, r.between(-100, -60)
		r.peakDB = [2]float64{r.between(-60, -20), r.between(-60, -20)}
		r.after = func(ch [][]float64) [][]float64 {
			for _, x := range ch[:2] {
				for i, v := range x {
					x[i] = math.Round(7.3*v*(1<<23)) / (1 << 23)
				}
			}
			return ch
		}
	}},
	{"people, now and then", func(r *recipe) {
		duty, gain, left := r.between(0.2, 0.8), 0.0, 0
		hz := r.between(500, 6000)
		r.adds(r.noiseDB+r.between(0, 25), func(f float64) float64 { return 1 / math.Hypot(1, f/hz) }, func(float64) float64 {
			if left--; left < 0 {
				left, gain = int(r.sweep.RateHz*r.between(0.1, 0.8)), 0
				if r.Float64() < duty {
					gain = r.between(0.3, 1)
				}
			}
			return gain
		})
	}},
	{"a fan that stops", func(r *recipe) {
		at, now := r.between(0.2, 0.9)*r.sweep.RateHz*r.sweep.Seconds, 0.0
		r.adds(r.noiseDB+r.between(3, 20), func(f float64) float64 { return 1 / math.Hypot(1, f/3000) }, func(float64) float64 {
			if now++; now < at {
				return 1
			}
			return 0
		})
	}},
	{"of two converters, one for faint sounds", func(r *recipe) {
		r.bits, r.noiseDB = 24, -200
		low, envelope, limit := r.between(-110, -90), 0.0, math.Pow(10, r.between(-60, -10)/20)
		r.adds(r.between(-75, -60), nil, func(v float64) float64 {
			if envelope = max(math.Abs(v), 0.999*envelope); envelope < limit {
				return math.Pow(10, (low+65)/20)
			}
			return 1
		})
	}},
	{"none, over a wire", func(r *recipe) {
		r.noiseDB, r.humDB = -200, -200
		r.square, r.cube = 1e-5*r.Float64(), 1e-5*r.Float64()
	}},
	{"buzz of a dimmer", func(r *recipe) {
		db, phase := r.between(-50, -25), r.Float64()
		r.before = func(ch [][]float64) {
			for _, x := range ch[:2] {
				size := rmsOf(x) * math.Pow(10, db/20)
				for k := phase; ; k++ {
					i := int(k * r.sweep.RateHz / 2 / r.humHz)
					if i+1 >= len(x) {
						break
					}
					x[i], x[i+1] = x[i]+size, x[i+1]+size/2
				}
			}
		}
	}},
}

// adds has noise added to both ears: db re the sweep before it is shaped over frequency in
// hertz (nil: white), and louder and fainter with time, which is told the sample.
func (r *recipe) adds(db float64, shape func(hz float64) float64, gain func(v float64) float64) {
	r.before = func(ch [][]float64) {
		for _, x := range ch[:2] {
			size := rmsOf(x) * math.Pow(10, db/20)
			fft := deconv.NewFFT(deconv.FastLen(len(x)))
			w, s := make([]float64, fft.Len()), make([]complex128, fft.Bins())
			for i := range w {
				w[i] = size * r.NormFloat64()
			}
			if shape != nil {
				fft.Forward(s, w)
				for k := range s {
					s[k] *= complex(shape(float64(k)*r.sweep.RateHz/float64(fft.Len())), 0)
				}
				fft.Inverse(w, s)
			}
			for i, v := range x {
				g := 1.0
				if gain != nil {
					g = gain(v)
				}
				x[i] += g * w[i]
			}
		}
	}
}

// shapedDither rounds to 16 bits, its error shaped by nine coefficients (Wannamaker, J.
// Audio Eng. Soc. 40(7/8), 1992, quoted from memory).
func shapedDither(r *recipe, x []float64) {
	c := [...]float64{2.847, -4.685, 6.214, -7.184, 6.639, -5.032, 3.263, -1.632, 0.4191}
	var past [len(c)]float64
	for i, v := range x {
		want := v * 32768
		for k, a := range c {
			want -= a * past[k]
		}
		y := math.Round(want + r.Float64() - r.Float64())
		copy(past[1:], past[:])
		past[0] = y - want
		x[i] = y / 32768
	}
}

// TestLossyCodingInOneSweep codes recordings of one sweep of 3, 6 or 10 s without silences
// at 48 kHz and decodes them again, and holds good ones of all kinds of noise beside them.
func TestLossyCodingInOneSweep(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		t.Skip("ffmpeg is not installed")
	}
	seconds, each, long := []float64{3}, 1, os.Getenv("ASWORN_LONG") != ""
	if long {
		seconds, each = []float64{3, 6, 10}, 6
	}
	all := slices.Concat(coders, lowRates)
	found, total := make([]int, len(all)), 0
	good, wrong := 0, 0
	var mu sync.Mutex
	for s, length := range seconds {
		d := sweep.Design{StartHz: 20, StopHz: 22800, Seconds: length, Repeats: 1, RateHz: 48000}
		p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2})
		var wait sync.WaitGroup
		for start := range 2 {
			p := p.Clone()
			wait.Go(func() {
				for i := start; i < each*(len(all)+len(goodNoises)); i += 2 {
					seed := 1<<52 + uint64(s)<<32 + uint64(i)
					r := drawGood(seed, shortDesigns+1)
					r.Rand, r.sweep = rand.New(rand.NewPCG(seed, 78)), d
					c := i % (len(all) + len(goodNoises))
					if !long { // as a recorder is set well, so that not all noise is below its 16 bits
						r.peakDB = [2]float64{-6, -6}
					}
					if c >= len(all) {
						goodNoises[c-len(all)].make(r)
					}
					ch := r.make()[:2]
					if c < len(all) {
						var err error
						if ch, err = coded(ch, 48000, all[c].codec, all[c].container, all[c].bitRate); err != nil {
							t.Error(err)
							return
						}
					}
					rec, err := p.ProcessSamples(ch, 48000)
					if err != nil {
						t.Error(err)
						return
					}
					heard := finding.Has(rec.Quality.Findings, finding.LossyCoding)
					mu.Lock()
					switch {
					case c < len(all) && heard:
						found[c]++
					case c >= len(all):
						good++
						if heard {
							wrong++
							t.Logf("good, noise %s, %g s, case %d: %v", goodNoises[c-len(all)].name, length, i, rec.Quality.Findings)
						}
					}
					mu.Unlock()
				}
			})
		}
		wait.Wait()
		total += each
	}
	hits, of := 0, 0
	for c, coder := range all {
		t.Logf("%s: %d of %d", coder.name, found[c], total)
		if coder.sure {
			hits, of = hits+found[c], of+total
		}
	}
	if 2*hits < of {
		t.Errorf("found %d of %d", hits, of)
	}
	t.Logf("not coded: %d of %d", wrong, good)
	if float64(wrong) > 0.01*float64(good) {
		t.Errorf("false alarms: %d of %d", wrong, good)
	}
}
