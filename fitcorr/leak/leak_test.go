package leak

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// TestRecovery holds the fit to the bar of the method on simulated studies:
// the corner within 10 % wherever the loss at 50 Hz exceeds 3 dB, intervals
// that cover, no leak seen where there is none. ASWORN_LONG=1 runs the table
// of docs/developing/leak.md.
func TestRecovery(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	base := generator{position: 0.4, noise: 0.3, scatter: 0.03, worst: 0.75}
	alter := func(f func(*generator)) generator { t := base; f(&t); return t }
	cases := []struct {
		name     string
		toy      generator
		seatings int
		bar      bool // what the method promises
	}{
		{"30 seatings", base, 30, true},
		{"8 seatings", base, 8, true},
		{"strong position effect", alter(func(t *generator) { t.position = 1.5 }), 30, true},
		{"noisy", alter(func(t *generator) { t.noise, t.scatter = 1.5, 0.2 }), 30, true},
		{"volumes differ by 15 %", alter(func(t *generator) { t.volume = 0.15 }), 30, true},
		{"one in ten sealed", alter(func(t *generator) { t.every = 10 }), 30, true},
		{"no band below 32 Hz", alter(func(t *generator) { t.lowest = 32 }), 30, true},
		{"low end drifts by 0.3 dB", alter(func(t *generator) { t.drift = 0.3 }), 30, true},
		{"lossy cup", alter(func(t *generator) { t.lossy = true }), 30, true},
		{"lossy cup, 8 seatings", alter(func(t *generator) { t.lossy = true }), 8, true},
		{"lossy cup, low end drifts", alter(func(t *generator) { t.lossy, t.drift = true, 0.3 }), 30, false},
		{"leaks through hair", alter(func(t *generator) { t.porous = 0.1 }), 30, false},
		{"lossy cup, hair", alter(func(t *generator) { t.lossy, t.porous = true, 0.1 }), 30, false},
		{"every seating leaks", alter(func(t *generator) { t.all = 0.3 }), 30, false},
		{"lossy cup, every one leaks", alter(func(t *generator) { t.lossy, t.all = true, 0.3 }), 30, false},
		{"soft cone", alter(func(t *generator) { t.softCone = true }), 30, false},
	}
	studies := 3
	if os.Getenv("ASWORN_LONG") != "" {
		studies = 40
	}
	f := gridHz()
	for _, c := range cases {
		if !c.bar && os.Getenv("ASWORN_LONG") == "" {
			continue // of which nothing is demanded
		}
		var large, missed, corner, three, cover int
		var losses, within, sealed, wrong int
		var square float64
		for study := range studies {
			c.toy.rng = rand.New(rand.NewPCG(7, uint64(study)))
			curves, truths := c.toy.study(f, c.seatings)
			res, err := Fit(f, curves)
			if err != nil {
				t.Fatal(err)
			}
			if study == 0 {
				t.Logf("%s: source %.3g, reference %.3g, scatter %.3g", c.name, res.Source, res.Reference, res.Scatter)
			}
			for i, e := range res.Curves {
				tr := truths[i]
				if tr.CornerHz == 0 {
					sealed++
					if e.Leaking {
						wrong++
					}
				}
				for _, hz := range []float64{20, 50, 100} {
					est, se := e.LossDB(hz)
					losses++
					square += (est - tr.lossDB(hz)) * (est - tr.lossDB(hz))
					if math.Abs(est-tr.lossDB(hz)) <= 1.96*se {
						within++
					}
				}
				if tr.CornerHz == 0 || tr.lossDB(50) <= 3 {
					continue
				}
				large++
				if !e.Leaking {
					missed++
					continue
				}
				if math.Abs(e.CornerHz/tr.CornerHz-1) <= 0.1 {
					corner++
				}
				if math.Abs(e.ThreeDBHz()/tr.threeDBHz()-1) <= 0.1 {
					three++
				}
				if math.Abs(math.Log(e.CornerHz/tr.CornerHz)) <= 1.96*math.Sqrt(e.Cov[0][0]) {
					cover++
				}
			}
		}
		share := func(a, b int) float64 { return float64(a) / math.Max(1, float64(b)) }
		rms := math.Sqrt(square / float64(losses))
		t.Logf("%-26s %4d leaks over 3 dB: missed %d, corner in 10 %% %.3f, 3 dB frequency in 10 %% %.3f, corner covered %.3f; loss RMS %.2f dB, covered %.3f; %d of %d sealed called leaking",
			c.name, large, missed, share(corner, large), share(three, large), share(cover, large), rms, share(within, losses), wrong, sealed)
		if !c.bar {
			continue
		}
		if share(corner, large) < 0.95 || missed > 0 {
			t.Errorf("%s: corner within 10 %% in %.3f of the leaks, missed %d", c.name, share(corner, large), missed)
		}
		if share(cover, large) < 0.85 || share(wrong, sealed) > 0.1 {
			t.Errorf("%s: cover %.3f, false leaks %d of %d", c.name, share(cover, large), wrong, sealed)
		}
		if rms > 0.3 {
			t.Errorf("%s: RMS error of the loss %.2f dB", c.name, rms)
		}
	}
}

// TestFitTakesWhatComes: any seatings with enough valid low bands give finite
// numbers, whatever is missing from them.
func TestFitTakesWhatComes(t *testing.T) {
	f := gridHz()
	rapid.Check(t, func(t *rapid.T) {
		gen := generator{
			rng:      rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)),
			position: rapid.Float64Range(0, 2).Draw(t, "position"), noise: rapid.Float64Range(0, 3).Draw(t, "noise"),
			scatter: rapid.Float64Range(0, 0.5).Draw(t, "scatter"), worst: rapid.Float64Range(0.2, 2).Draw(t, "worst"),
		}
		n := rapid.IntRange(2, 5).Draw(t, "seatings")
		curves, _ := gen.study(f, n)
		for i := range curves {
			for range rapid.IntRange(0, 10).Draw(t, "gaps") {
				k := rapid.IntRange(0, len(f)-1).Draw(t, "gap")
				if k%8 != 0 { // a quarter without any level is refused
					curves[i].VarDB[k], curves[i].LevelDB[k] = math.Inf(1), math.NaN()
				}
			}
		}
		res, err := Fit(f, curves)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range res.Curves {
			for _, hz := range []float64{20, 50, 100} {
				loss, se := e.LossDB(hz)
				if math.IsNaN(loss) || math.IsInf(loss, 0) || math.IsNaN(se) || se < 0 {
					t.Fatalf("loss at %g Hz: %g ± %g dB (%+v)", hz, loss, se, e)
				}
			}
		}
	})
}

func TestFitRefuses(t *testing.T) {
	f := gridHz()
	gen := generator{rng: rand.New(rand.NewPCG(1, 1)), worst: 0.5}
	curves, _ := gen.study(f, 3)
	if _, err := Fit(f, curves[:1]); err == nil {
		t.Error("one seating must be refused")
	}
	if _, err := Fit(f[1:], curves); err == nil {
		t.Error("levels that do not fit the frequencies must be refused")
	}
	for k := range f {
		curves[1].VarDB[k] = math.Inf(1)
	}
	if _, err := Fit(f, curves); err == nil {
		t.Error("a curve without levels must be refused")
	}
}
