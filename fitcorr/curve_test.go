package fitcorr

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
)

// TestFinalCurves holds the final curve against the level at the true worn
// mean: seatings that match go in, one far off goes in corrected or stays out,
// and the interval covers.
func TestFinalCurves(t *testing.T) {
	var bands, covered, adjusted, kept int
	studies := 10
	if longRun() {
		studies = 100
	}
	for seed := range uint64(studies) {
		rng := rand.New(rand.NewPCG(seed, 2))
		at := [][3]float64{{5, 0}, {-1, -5}}
		for range 5 {
			at = append(at, [3]float64{0.5 + 0.8*rng.NormFloat64(), -0.5 + 0.8*rng.NormFloat64()})
		}
		st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, 0.6, 0.8, 0.3)
		opt := DefaultOptions()
		corr := newCorrector(st.ss, st.survey, st.offsets, st.worn, opt)
		var verdicts []Verdict
		for i := range at {
			v := Verdict{ID: st.offsets[i].ID, Seating: i, Outcome: Matches}
			if i < 2 {
				v.Outcome = Adjust
			}
			verdicts = append(verdicts, v)
		}
		out := finalCurves(st.ss, verdicts, corr.corrections(st.ss), corr, []StandOut{{ID: "f6", Ear: "left", Band: "high", Flagged: true}}, opt)
		if len(out) != 4 {
			t.Fatalf("%d curves, want two points and two ears", len(out))
		}
		for k, c := range out {
			for i, mem := range c.Members {
				switch {
				case i < 2:
					adjusted++
					if mem.Used {
						kept++
					}
					if mem.Used && !mem.Corrected && !strings.Contains(mem.Why, "hardly") {
						t.Errorf("off its place, used as it is: %s", mem.Why)
					}
				case mem.Used == (i == 6 && c.Ear == "left"):
					t.Errorf("%s ear, seating %d: used %v (%s)", c.Ear, i, mem.Used, mem.Why)
				}
			}
			for b, f := range band.All() {
				if !c.Valid[b] || f.Mid < 500 || f.Mid > 12000 || b%perThird != 0 {
					continue
				}
				want := st.paths[k%2].level(f.Mid, st.wornAt)
				if c.Point == capture.Drum {
					want += st.drum(f.Mid, st.wornAt)
				}
				bands++
				if math.Abs(c.LevelDB[b]-want) <= c.HalfDB[b] {
					covered++
				}
			}
			last := c.Budget[len(c.Budget)-1]
			sum := 0.0
			for _, r := range c.Budget[:len(c.Budget)-1] {
				sum += r.StdDB[20] * r.StdDB[20]
			}
			if math.Abs(math.Sqrt(sum)-last.StdDB[20]) > 1e-9 {
				t.Errorf("budget rows combine to %.4f dB, total is %.4f dB", math.Sqrt(sum), last.StdDB[20])
			}
		}
	}
	share := float64(covered) / float64(bands)
	t.Logf("interval covers %.3f of %d bands; of %d ears off their place %d went in corrected", share, bands, adjusted, kept)
	if share < 0.9 {
		t.Errorf("interval covers %.3f, want about 0.95", share)
	}
}

func TestAgainstReference(t *testing.T) {
	fc := FinalCurve{LevelDB: make([]float64, band.Count), LowDB: make([]float64, band.Count), HighDB: make([]float64, band.Count)}
	ref := TiltedReference(make([]float64, band.Count), -1)
	got := fc.Against(ref)
	for b, f := range band.All() {
		if want := math.Log2(f.Mid / 1000); math.Abs(got.LevelDB[b]-want) > 1e-12 {
			t.Fatalf("%.0f Hz: %.3f dB, want %.3f", f.Mid, got.LevelDB[b], want)
		}
	}
}

// withDrum adds a drum row to every ordinary fixture seating of a toy study:
// the blocked level behind a canal resonance, with noise of its own.
func withDrum(ss []Seating, rng *rand.Rand) []Seating {
	out := append([]Seating(nil), ss...)
	for _, s := range ss {
		if !s.OrdinaryOnFixture() {
			continue
		}
		d := s
		d.ID, d.Point = s.ID+"/drum", capture.Drum
		for e := range d.Ears {
			c := Curve{make([]float64, band.Count), s.Ears[e].StdErrDB, s.Ears[e].Valid}
			for b, f := range band.All() {
				c.LevelDB[b] = s.Ears[e].LevelDB[b] + canalDB(f.Mid) + 0.1*rng.NormFloat64()
			}
			d.Ears[e] = c
		}
		out = append(out, d)
	}
	return out
}

func canalDB(f float64) float64 { return 9 * math.Exp(-math.Pow(math.Log2(f/2700), 2)) }

// TestCorrectedCurvesComeNearer runs whole toy studies: of the curves that
// were corrected, at least 95 % must come nearer to the fixture's level at the
// panel's true mean. The toy moves little with position and its worn mean is
// uncertain by more than that is worth, so few are: the mean over all curves
// must not grow either. The final curve's interval must cover that level.
func TestCorrectedCurvesComeNearer(t *testing.T) {
	if !longRun() {
		t.Skip("whole studies take a while: set ASWORN_LONG")
	}
	const n = 8
	var corrected, nearer, all, bands, covered int
	var before, after float64
	for i := range n {
		plan := defaultToy(uint64(500 + i))
		ss, truth := plan.study()
		// The fixture's ears are the first thing a plan draws.
		rng := rand.New(rand.NewPCG(plan.seed, 77))
		left := newToyEar(rng, plan.ear)
		fixture := [2]toyEar{left, left.near(rng, plan.ear)}
		a, _, err := Analyse(context.Background(), withDrum(ss, rng), DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		byID := map[string]Seating{}
		for _, s := range withDrum(ss, rng) {
			byID[s.ID] = s
		}
		for mi, m := range a.Models {
			want := func(e int, point capture.Point) []float64 {
				level := make([]float64, band.Count)
				for b, f := range band.All() {
					level[b] = 20*math.Log10(cmplx.Abs(toyModels[mi].pressure(f.Mid, fixture[e], truth.mean[m.Model]))) + fixture[e].volumeDB
					if point == capture.Drum {
						level[b] += canalDB(f.Mid)
					}
				}
				return level
			}
			for _, c := range m.Corrections {
				e := int(capture.Left)
				if c.Ear == capture.Right.String() {
					e = int(capture.Right)
				}
				all++
				goal, s := want(e, c.Point), byID[c.ID]
				was, is, some := distanceTo(s.Ears[e].LevelDB, c, goal)
				before, after = before+was, after+is
				if !some {
					continue
				}
				corrected++
				if is < was {
					nearer++
				}
			}
			for _, c := range m.Curves {
				e := int(capture.Left)
				if c.Ear == capture.Right.String() {
					e = int(capture.Right)
				}
				goal := want(e, c.Point)
				for b, f := range band.All() {
					if c.LevelDB != nil && c.Valid[b] && f.Mid > 300 && f.Mid < 10000 {
						bands++
						// The toy's gain differs per seating by 0.4 dB; that is in the spread.
						if math.Abs(c.LevelDB[b]-goal[b]) <= c.HalfDB[b] {
							covered++
						}
					}
				}
			}
			if i == 0 {
				for _, c := range m.Curves[:1] {
					for _, mem := range c.Members {
						t.Logf("%+v", mem)
					}
					for _, r := range c.Budget {
						t.Logf("%-30s %s %.2f", r.Source, r.Type, r.StdDB)
					}
					t.Log(c.Notes)
				}
			}
		}
	}
	t.Logf("%d curves, corrected %d, of them nearer %d; RMS error 1–10 kHz %.2f dB before, %.2f dB after; final curves cover %.3f of %d bands",
		all, corrected, nearer, before/float64(all), after/float64(all), float64(covered)/float64(bands), bands)
	if float64(nearer) < 0.95*float64(corrected) || after > before {
		t.Errorf("nearer in %d of %d", nearer, corrected)
	}
	if share := float64(covered) / float64(bands); share < 0.88 {
		t.Errorf("final curves cover %.3f, want about 0.95", share)
	}
}

// distanceTo returns the RMS distance to a goal from 1 kHz to 10 kHz before
// and after a correction, the mean (gain) of each taken off.
func distanceTo(level []float64, c Correction, goal []float64) (before, after float64, some bool) {
	var was, is []float64
	for b, f := range band.All() {
		if f.Mid < 1000 || f.Mid > 10000 {
			continue
		}
		some = some || c.Applied[b]
		was = append(was, level[b]-goal[b])
		is = append(is, level[b]+c.DeltaDB[b]-goal[b])
	}
	rms := func(x []float64) float64 {
		mean, _ := meanSD(x)
		sum := 0.0
		for _, v := range x {
			sum += (v - mean) * (v - mean)
		}
		return math.Sqrt(sum / float64(len(x)))
	}
	return rms(was), rms(is), some
}
