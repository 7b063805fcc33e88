package main

import (
	"fmt"
	"io"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

// The range over which curves are compared as a whole.
const wholeLowHz, wholeHighHz = 1000.0, 10000.0

// correct scores the corrections and final curves of a study; measured are the
// seatings that were analysed, in the order of its rows.
func (out *score) correct(s *simulate.Study, measured []fitcorr.Seating, a fitcorr.Analysis) {
	aim := simulate.NewAim(s)
	for _, ma := range a.Models {
		if m := slices.Index(s.Models, ma.Model); m >= 0 {
			out.correctModel(s, aim, measured, m, ma)
		}
	}
}

func (out *score) correctModel(s *simulate.Study, aim *simulate.Aim, measured []fitcorr.Seating, m int, ma fitcorr.ModelAnalysis) {
	at := map[string]int{}
	for i, r := range s.Rows {
		at[r.File] = i
	}
	target := func(ear capture.Ear, p capture.Point) []float64 { return aim.LevelDB(m, ear, p) }
	changes := map[[2]int][]float64{} // blocked and drum share the change
	for _, c := range ma.Corrections {
		i := at[c.ID]
		r, e := s.Rows[i], c.Ear
		h, mean := r.Headset(), s.Target(m)
		key := [2]int{r.Number, int(e)}
		if changes[key] == nil {
			changes[key] = aim.ChangeDB(r, e)
		}
		t := compare(c, measured[i].Ears[e], target(c.Ear, c.Point), changes[key])
		t.distance = math.Hypot(h[0]-mean[0], h[1]-mean[1])
		out.corrections = append(out.corrections, t)
	}
	for _, c := range ma.Curves {
		if c.LevelDB == nil {
			continue
		}
		var t curveTrial
		for b, want := range target(c.Ear, c.Point) {
			if f := band.All()[b].Mid; c.Valid[b] && f >= 50 && f <= wholeHighHz {
				t.all++
				if math.Abs(c.LevelDB[b]-want) <= c.HalfDB[b] {
					t.inside++
				}
			}
		}
		out.curves = append(out.curves, t)
	}
}

// compare holds one correction against the truth.
func compare(c fitcorr.Correction, curve fitcorr.Curve, want, change []float64) correctionTrial {
	var t correctionTrial
	var sq, n [2][2]float64 // whole or where corrected; before and after
	for b, f := range band.All() {
		if !curve.Valid[b] {
			continue
		}
		in := [2]bool{f.Mid >= wholeLowHz && f.Mid <= wholeHighHz, c.Applied[b]}
		t.anywhere = t.anywhere || in[1]
		t.applied = t.applied || in[0] && in[1]
		off := curve.LevelDB[b] - want[b]
		for k, counts := range in {
			for i, v := range [2]float64{off, off + c.DeltaDB[b]} {
				if counts {
					sq[k][i] += v * v
					n[k][i]++
				}
			}
		}
		if c.Applied[b] {
			t.all++
			if math.Abs(change[b]-c.DeltaDB[b]) <= 1.96*c.StdErrDB[b] {
				t.inside++
			}
		}
	}
	for i := range 2 {
		t.whole[i] = math.Sqrt(sq[0][i] / max(n[0][i], 1))
		t.there[i] = math.Sqrt(sq[1][i] / max(n[1][i], 1))
	}
	return t
}

// corrections writes how near corrected curves come to the truth, by the true
// distance of the seating from the worn mean.
func corrections(w io.Writer, results []result) {
	results = slices.DeleteFunc(slices.Clone(results), func(r result) bool { return !r.curves })
	if len(results) == 0 {
		return
	}
	fmt.Fprint(w, "\nCorrections and final curves. Curves: both points and ears of every fixture seating. Distances to the fixture's own curve at the true worn mean, sealed as the panel is on average, RMS.\n\n"+
		"| generator, condition | mm | curves | corrected in 1–10 kHz | of them nearer in 1–10 kHz, % | error of the corrected, dB: before, after | of all, dB: before, after | corrected anywhere | of them nearer there, % | interval of the change covers, % | final curve covers, % |\n|---|---|---|---|---|---|---|---|---|---|---|\n")
	for _, r := range results {
		final := shareOf(r.scores, func(s score) []curveTrial { return s.curves }, func(t curveTrial) (int, int) { return t.inside, t.all })
		distances := []float64{-1} // any
		for _, d := range []float64{0, 3, 4, 6} {
			if slices.Contains(r.design.FixtureOffsetsMM, d) {
				distances = append(distances, d)
			}
		}
		for _, d := range distances {
			pick := func(keep func(correctionTrial) bool) func(score) []correctionTrial {
				return func(s score) (out []correctionTrial) {
					for _, c := range s.corrections {
						if (d < 0 || math.Abs(c.distance-d) < 0.01) && keep(c) {
							out = append(out, c)
						}
					}
					return out
				}
			}
			any := pick(func(correctionTrial) bool { return true })
			applied := pick(func(c correctionTrial) bool { return c.applied })
			anywhere := pick(func(c correctionTrial) bool { return c.anywhere })
			count := func(trials func(score) []correctionTrial) (n int) {
				for _, s := range r.scores {
					n += len(trials(s))
				}
				return n
			}
			mean := func(trials func(score) []correctionTrial, i int) string {
				return number(over(r.scores, trials, func(c correctionTrial) float64 { return c.whole[i] }).value, 2)
			}
			name := "any"
			if d >= 0 {
				name = number(d, 0)
			}
			fmt.Fprintf(w, "| %s | %s | %d | %d | %s | %s, %s | %s, %s | %d | %s | %s | %s |\n", r.label(), name, count(any), count(applied),
				over(r.scores, applied, func(c correctionTrial) float64 { return percent(c.whole[1] < c.whole[0]) }).show(1),
				mean(applied, 0), mean(applied, 1), mean(any, 0), mean(any, 1), count(anywhere),
				over(r.scores, anywhere, func(c correctionTrial) float64 { return percent(c.there[1] < c.there[0]) }).show(1),
				shareOf(r.scores, any, func(c correctionTrial) (int, int) { return c.inside, c.all }).show(1), final.show(1))
		}
	}
}

// shareOf is the share, in %, of bands that count over all trials.
func shareOf[T any](scores []score, trials func(score) []T, bands func(T) (inside, all int)) figure {
	totals, counts := make([]float64, len(scores)), make([]float64, len(scores))
	for i, s := range scores {
		for _, t := range trials(s) {
			in, all := bands(t)
			totals[i] += 100 * float64(in)
			counts[i] += float64(all)
		}
	}
	return clustered(totals, counts)
}
