package correct

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/verdict"
)

// TestFinalCurves holds the final curve against the level at the true worn
// mean: seatings that match go in, one far off goes in corrected or stays out,
// and the interval covers.
func TestFinalCurves(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	var bands, covered, adjusted, kept int
	studies := 10
	if toy.Long() {
		studies = 100
	}
	for seed := range uint64(studies) {
		rng := rand.New(rand.NewPCG(seed, 2))
		at := [][3]float64{{5, 0}, {-1, -5}}
		for range 5 {
			at = append(at, [3]float64{0.5 + 0.8*rng.NormFloat64(), -0.5 + 0.8*rng.NormFloat64()})
		}
		st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, 0.6, 0.8, 0.3)
		opt := seat.DefaultOptions()
		corr := New(st.Seatings, capture.Blocked, st.survey, st.offsets, st.worn, opt)
		var verdicts []verdict.Verdict
		for i := range at {
			v := verdict.Verdict{ID: st.offsets[i].ID, Seating: i, Outcome: verdict.Matches}
			if i < 2 {
				v.Outcome = verdict.Adjust
			}
			verdicts = append(verdicts, v)
		}
		out := FinalCurves(st.Seatings, verdicts, corr.Corrections(st.Seatings), Correctors{capture.Blocked: corr}, []standout.StandOut{{ID: "f6", Ear: "left", Band: "high", Flagged: true}}, opt)
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
				if !c.Valid[b] || f.Mid < 500 || f.Mid > 12000 || b%seat.PerThird != 0 {
					continue
				}
				want := st.Paths[k%2].Level(f.Mid, st.WornAt)
				if c.Point == capture.Drum {
					want += st.Drum(f.Mid, st.WornAt)
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
