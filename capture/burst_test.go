package capture_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// TestBurst puts 0.1 to 0.5 s of noise into both ears of sweeps of 3 s that are played
// once, and looks for it there, in the same without it, and in short sweeps without it.
func TestBurst(t *testing.T) {
	sizes := [...]float64{-30, -20, -10} // dB re the sweep
	n := 2 * len(sizes)
	if os.Getenv("ASWORN_LONG") != "" {
		n *= 40
	}
	once := func(repeats, _ int) bool { return repeats == 1 }
	var mu sync.Mutex
	var found, total [len(sizes)]int
	good, wrong := 0, 0
	for _, long := range []bool{true, false} {
		each(t, n, long, func(w workbench, i int) error {
			r := drawGood(1<<51+uint64(i), pickDesign(i, long, once))
			rate := r.sweep.RateHz
			ch := r.make()
			rec, err := w[r.design].ProcessSamples(ch, rate)
			if err != nil {
				return err
			}
			heard := finding.Has(rec.Quality.Findings, finding.Noisy)
			mu.Lock()
			if good++; heard {
				wrong++
				t.Logf("good, long %v, case %d: %v", long, i, rec.Quality.Findings)
			}
			mu.Unlock()
			if !long || heard {
				return nil
			}
			ch = r.make()
			size := i % len(sizes)
			from := int(rate * (r.latency/rate + r.sweep.LeadSeconds + r.between(0.3, 2.2)))
			to := from + int(rate*r.between(0.1, 0.5))
			for e := range 2 {
				rms := 0.0
				for _, v := range ch[e] {
					rms += v * v / float64(len(ch[e]))
				}
				noise(ch[e][from:to], math.Sqrt(rms)*math.Pow(10, sizes[size]/20), uint64(i+e))
			}
			if rec, err = w[r.design].ProcessSamples(ch, rate); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			total[size]++
			if finding.Has(rec.Quality.Findings, finding.Noisy) {
				found[size]++
			}
			return nil
		})
	}
	t.Logf("of %v dB found %v of %v; %d of %d good recordings", sizes, found, total, wrong, good)
	if found[1]+found[2] < (total[1]+total[2])*3/4 || float64(wrong) > 0.01*float64(good) {
		t.Errorf("of %v dB found %v of %v; %d of %d good recordings", sizes, found, total, wrong, good)
	}
}

// TestBurstRealSeatings puts 0.3 s of noise into the ten real recordings. The tenth is
// clipped in both ears, and not looked at.
func TestBurstRealSeatings(t *testing.T) {
	dir := reseatFolder(t)
	format, excitation := readAll(t, filepath.Join(dir, "excitation.wav"))
	rate := float64(format.RateHz)
	p := processor(t, study.Setup{Sweep: sweep.Design{RateHz: rate}, Excitation: excitation[0], Left: 1, Right: 2, Window: measurersWindow(rate)})
	for _, db := range []float64{-50, -40, -30, -20} {
		found := 0
		for n := uint64(1); n <= 10; n++ {
			_, ch := readAll(t, filepath.Join(dir, "unit-b", fmt.Sprintf("recording-%02d.wav", n)))
			rms := 0.0
			for _, v := range ch[0] {
				rms += v * v / float64(len(ch[0]))
			}
			r := rand.New(rand.NewPCG(n, 1))
			from := int((1 + 7*r.Float64()) * rate)
			for e := range ch {
				noise(ch[e][from:from+int(0.3*rate)], math.Sqrt(rms)*math.Pow(10, db/20), 10*n+uint64(e))
			}
			rec, err := p.ProcessSamples(ch, rate)
			if err != nil {
				t.Fatal(err)
			}
			if finding.Has(rec.Quality.Findings, finding.Noisy) {
				found++
			}
		}
		t.Logf("%.0f dB: %d of 10", db, found)
		if db >= -30 && found < 9 {
			t.Errorf("%.0f dB: %d of 10 found, want 9", db, found)
		}
	}
}
