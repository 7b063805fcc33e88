package main

import (
	"math"
	"os"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
	"asworn/fitcorr"
	"asworn/fitcorr/seal"
)

// TestLeakCorner holds the leaks of generator A, whose cups have losses and
// whose ears sit in the near field of the driver, to the bar of the method: the
// corner within 10 % wherever more than 3 dB are lost at 50 Hz, and its stated
// interval true. ASWORN_LONG=1 runs the studies of docs/developing/leak.md.
func TestLeakCorner(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	type set struct {
		name   string
		seeds  []uint64
		chance float64 // of a leak; 0: the design's own
	}
	run := func(from, n uint64) (seeds []uint64) {
		for k := range n {
			seeds = append(seeds, from+k)
		}
		return seeds
	}
	sets := []set{{"25 to 28", run(25, 4), 0}}
	if os.Getenv("ASWORN_LONG") != "" {
		sets = []set{
			{"25 to 36 and 600 to 605", append(run(25, 12), run(600, 6)...), 0},
			{"900 to 917", run(900, 18), 0},
			{"900 to 917, six in ten leak", run(900, 18), 0.6},
		}
	}
	for _, set := range sets {
		d := simulate.BarDesign()
		if set.chance > 0 {
			d.LeakChance = set.chance
		}
		var leaks, within, covered, tight, called int
		var square, loss, trueLosses float64
		for _, seed := range set.seeds {
			for _, trial := range sealTrials(t, seed, d) {
				got, want := trial.got, trial.want
				for k := range want.LossDB {
					loss += (got.LossDB[k] - want.LossDB[k]) * (got.LossDB[k] - want.LossDB[k])
					trueLosses++
				}
				if want.LossDB[1] < 0.3 {
					tight++
					if got.Class == "leaking" && got.LossDB[1] > 1 {
						called++
					}
				}
				if want.LossDB[1] <= 3 {
					continue
				}
				leaks++
				square += (got.LossDB[1] - want.LossDB[1]) * (got.LossDB[1] - want.LossDB[1])
				if math.Abs(got.CornerHz/want.CornerHz-1) <= 0.1 {
					within++
				}
				if math.Abs(got.CornerHz-want.CornerHz) <= 1.96*got.CornerSE {
					covered++
				}
			}
		}
		n := float64(leaks)
		t.Logf("studies %s: %d leaks over 3 dB, corner in 10 %% %.3f, covered %.3f, loss at 50 Hz RMS %.3f dB; all losses RMS %.3f dB; %d of %d tight ears called leaking",
			set.name, leaks, float64(within)/n, float64(covered)/n, math.Sqrt(square/n), math.Sqrt(loss/trueLosses), called, tight)
		if float64(within) < 0.97*n || float64(covered) < 0.9*n || square > 0.04*n || called > 0 {
			t.Errorf("studies %s miss the bar", set.name)
		}
	}
}

// sealTrial is one closed ear of a study, the estimate beside the truth.
type sealTrial struct {
	got  fitcorr.Leak
	want simulate.Seal
}

func sealTrials(t *testing.T, seed uint64, d simulate.Design) []sealTrial {
	s := simulate.Draw(seed, d, piston.World)
	measured, err := s.Seatings(t.Context(), seed, 0)
	if err != nil {
		t.Fatal(err)
	}
	blocked := make([][]fitcorr.Seating, len(s.Models))
	for i, r := range s.Rows {
		if r.Point == capture.Blocked && r.Model != "" {
			blocked[r.ModelIndex] = append(blocked[r.ModelIndex], measured[i])
		}
	}
	var out []sealTrial
	for m, own := range blocked {
		if s.Open[m] {
			continue
		}
		leaks, seal := seal.Judge(own, fitcorr.DefaultOptions())
		if seal.Open || leaks == nil {
			t.Errorf("study %d, %s: %s", seed, s.Models[m], seal.Reason)
			continue
		}
		for _, r := range s.Rows {
			if r.ModelIndex != m || r.Point != capture.Blocked || r.Model == "" || r.Survey != nil {
				continue
			}
			for e, p := range r.True {
				out = append(out, sealTrial{leaks[r.File][e], s.World.Seal(m, r.SubjectIndex, capture.Ear(e), p)})
			}
		}
	}
	return out
}
