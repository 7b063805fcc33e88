package capture_test

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// TestDriftIsCorrected plays through a recorder whose clock is off.
func TestDriftIsCorrected(t *testing.T) {
	d := sweep.Default()
	clocks := []float64{-100, 250}
	if testing.Short() {
		clocks = clocks[1:]
	}
	for _, repeats := range []int{1, 2, 3} {
		for _, loop := range []int{0, 3} {
			d.Repeats = repeats
			p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: loop})
			for _, ppm := range clocks {
				// The whole excitation as the recorder's clock samples it.
				ratio := 1 + ppm*1e-6
				x := make([]float64, int(8.7*48000)+(repeats-2)*4*48000)
				for k := range repeats {
					at := (float64(d.LeadSamples()+k*d.PeriodSamples()) + 777) * ratio
					addStretched(x, d, ratio, at)
				}
				rec, err := p.ProcessSamples([][]float64{earFilters[0].run(x), earFilters[1].run(x), x}, 48000)
				if err != nil {
					t.Fatal(err)
				}
				big, at := worst(t, rec.Ears[0], earFilters[0], 19, 20500)
				t.Logf("%+.0f ppm, %d repeats, loopback %d: found %+.4f ± %.4f, worst %.5f dB at %.0f Hz", ppm, repeats, loop, rec.DriftPPM, rec.DriftSEPPM, big, at)
				if big > 0.0006+lastDigit {
					t.Errorf("%g ppm, %d repeats, loopback %d: worst %.4f dB at %.0f Hz, the page says at most 0.0006", ppm, repeats, loop, big, at)
				}
				most := 0.08 // ppm, by the ears alone
				switch {
				case repeats > 1:
					most = 0.0001
				case loop > 0:
					most = 0.003
				}
				if off := math.Abs(rec.DriftPPM - ppm); off > most {
					t.Errorf("%g ppm, %d repeats, loopback %d: found %.4f, %.5f off, the page says at most %g", ppm, repeats, loop, rec.DriftPPM, off, most)
				}
			}
		}
	}
}

// addStretched adds one sweep that starts at a broken sample, by the formula.
func addStretched(x []float64, d sweep.Design, ratio, at float64) {
	first := int(math.Ceil(at))
	for i := first; i < len(x); i++ {
		t := (float64(i) - at) / ratio / d.RateHz
		if t >= d.Seconds {
			return
		}
		x[i] += d.At(t)
	}
}

// pinkNoise returns noise of equal power per octave above 5 Hz, like the
// sweep's, so that every band has about the same signal to noise ratio.
func pinkNoise(n int, seed uint64) []float64 {
	fft := deconv.NewFFT(deconv.FastLen(n))
	r := rand.New(rand.NewPCG(seed, 7))
	s := make([]complex128, fft.Bins())
	for k := range s {
		f := max(float64(k)*48000/float64(fft.Len()), 5)
		a := math.Sqrt(float64(fft.Len()) * 1000 / f)
		s[k] = complex(a*r.NormFloat64(), a*r.NormFloat64())
	}
	s[0], s[len(s)-1] = 0, 0
	x := make([]float64, fft.Len())
	fft.Inverse(x, s)
	return x[:n]
}

// TestStandardErrors repeats a measurement at a signal to noise ratio of about
// 40 dB per band and counts how often the true level lies in the interval: in ten
// recordings of two ears some 4,800 intervals, so that a coverage of 92 % in place of 95
// passes for 93 or more in less than 1 % of draws. With ASWORN_LONG set there are twenty.
func TestStandardErrors(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	trials := 10
	if os.Getenv("ASWORN_LONG") != "" {
		trials = 20
	}
	for _, c := range []struct {
		name    string
		repeats int
		lead    float64
		loop    int
		noise   float64
	}{
		{"lead and two repeats", 2, 0.5, 0, 0.01},
		{"lead, one sweep", 1, 0.5, 0, 0.01},
		{"no lead, one sweep", 1, 0, 3, 0.01},
		{"no lead, three repeats", 3, 0, 0, 0.01},
	} {
		d := sweep.Default()
		d.Seconds, d.Repeats, d.LeadSeconds, d.GapSeconds = 1, c.repeats, c.lead, 0.6
		p, err := capture.NewProcessor(study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: c.loop})
		if err != nil {
			t.Fatal(err)
		}
		bands := band.All()
		clean := d.Signal()
		if c.lead > 0 {
			clean = delayed(clean, 100)
		}
		ears := [2][]float64{earFilters[0].run(clean), earFilters[1].run(clean)}
		inside, count := 0, 0
		perOctave := make([][2]int, 10)
		var snr, bias []float64
		for trial := range trials {
			var ch [][]float64
			for e := range ears {
				x := slices.Clone(ears[e])
				hiss := pinkNoise(len(x), uint64(1000*e+trial))
				for i, v := range earFilters[e].run(hiss) {
					x[i] += c.noise * v
				}
				ch = append(ch, x)
			}
			ch = append(ch, clean)
			rec, err := p.ProcessSamples(ch, 48000)
			if err != nil {
				t.Fatal(err)
			}
			for e, r := range rec.Ears {
				for i, b := range bands {
					if b.Lower < 19 || b.Upper > 20500 || !r.Valid[i] {
						continue
					}
					z := (r.LevelDB[i] - earLevels()[e][i]) / r.StdErrDB[i]
					o := min(9, int(math.Log2(b.Mid/19)))
					perOctave[o][1]++
					count++
					if math.Abs(z) < 1.96 {
						inside++
						perOctave[o][0]++
					}
					snr = append(snr, r.LevelDB[i]-r.NoiseDB[i])
					bias = append(bias, z)
				}
			}
		}
		slices.Sort(snr)
		mean := 0.0
		for _, z := range bias {
			mean += z / float64(len(bias))
		}
		var oct []float64
		for _, o := range perOctave {
			oct = append(oct, math.Round(1000*float64(o[0])/float64(o[1]))/10)
		}
		cover := 100 * float64(inside) / float64(count)
		t.Logf("%s: coverage %.1f %% (per octave %v), SNR %.0f %.0f %.0f dB, mean z %.3f", c.name, cover, oct, snr[len(snr)/20], snr[len(snr)/2], snr[len(snr)*19/20], mean)
		if cover < 93 || cover > 97 {
			t.Errorf("%s: 95 %% intervals cover %.1f %%", c.name, cover)
		}
	}
}
