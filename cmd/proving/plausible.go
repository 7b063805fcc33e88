package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
)

// spread is how the levels of one model at the blocked ear-canal entrance (left ear) scatter in one
// study, per third octave.
type spread struct {
	open                     bool
	within, between, fixture [band.Thirds]float64 // variances, dB²
	rangeDB                  [band.Thirds]float64 // largest less smallest of a listener's seatings, mean over listeners
	slope, turn              [band.Thirds]float64 // mean square change per mm and per degree
}

// plausibleListeners are enough for the variance between them.
const plausibleListeners = 12

// plausibleStudy draws a study whose levels are plausible, or are not.
func plausibleStudy(world simulate.World, seed uint64) *simulate.Study {
	d := simulate.BarDesign()
	d.Listeners = plausibleListeners
	d.FixtureOffsetsMM = make([]float64, d.FixtureSeatings) // an operator who aims well
	return simulate.Draw(seed, d, world)
}

// spreads hears a study, so many rows at a time, and gives the scatter of each of its
// models: not a number where the study has no rows of the kind.
func spreads(ctx context.Context, s *simulate.Study, seed uint64, jobs int) ([]spread, error) {
	seatings, err := s.Seatings(ctx, seed, jobs)
	if err != nil {
		return nil, err
	}
	var out []spread
	listeners := s.Design.Listeners
	for m := range s.Models {
		of := spread{open: s.Open[m]}
		for t := range band.Thirds {
			groups := make([][]float64, listeners+1) // the fixture is the last
			var mark, moved, turned []float64
			for j, r := range s.Rows {
				if r.ModelIndex != m || r.Point != capture.Blocked {
					continue
				}
				l := third(seatings[j].Ears[capture.Left].LevelDB, t)
				switch {
				case !r.Displaced():
					groups[r.SubjectIndex] = append(groups[r.SubjectIndex], l)
				case *r.Survey == capture.Displacement{} && r.Seal == "":
					mark = append(mark, l)
				case math.Abs(r.Survey.ForwardMM)+math.Abs(r.Survey.UpMM) == 4:
					moved = append(moved, l)
				case math.Abs(r.Survey.RotationDeg) == 10:
					turned = append(turned, l)
				}
			}
			var means []float64
			for _, g := range groups[:listeners] {
				mean, variance := stat.MeanVariance(g, nil)
				means = append(means, mean)
				of.within[t] += variance / float64(listeners)
				of.rangeDB[t] += (slices.Max(g) - slices.Min(g)) / float64(listeners)
			}
			at := stat.Mean(mark, nil)
			of.between[t], of.fixture[t] = stat.Variance(means, nil), stat.Variance(groups[listeners], nil)
			of.slope[t], of.turn[t] = meanSquare(moved, at)/16, meanSquare(turned, at)/100
		}
		out = append(out, of)
	}
	return out, nil
}

// plausible writes the spread of the levels a generator produces, per third
// octave: what the physics is to be held against published repeat measurements by.
func plausible(ctx context.Context, w io.Writer, world simulate.World, seed uint64, studies, jobs int) error {
	var all []spread
	for k := range uint64(studies) {
		one, err := spreads(ctx, plausibleStudy(world, seed+k), seed+k, jobs)
		if err != nil {
			return err
		}
		all = append(all, one...)
	}
	fmt.Fprintf(w, "| third octave, Hz | between listeners, dB | within a listener, dB | on the fixture, dB | per mm, dB | per degree, dB |\n|---|---|---|---|---|---|\n")
	for t, b := range band.AllThirds() {
		rms := func(of func(spread) float64) float64 {
			sum := 0.0
			for _, s := range all {
				sum += of(s)
			}
			return math.Sqrt(sum / float64(len(all)))
		}
		fmt.Fprintf(w, "| %.0f | %.1f | %.1f | %.1f | %.2f | %.3f |\n", b.Mid, rms(func(s spread) float64 { return s.between[t] }), rms(func(s spread) float64 { return s.within[t] }),
			rms(func(s spread) float64 { return s.fixture[t] }), rms(func(s spread) float64 { return s.slope[t] }), rms(func(s spread) float64 { return s.turn[t] }))
	}
	return nil
}

// third is the level of a third octave, the power average of its kept bands.
func third(levels []float64, t int) float64 {
	n := len(levels) / band.Thirds
	sum := 0.0
	for _, l := range levels[t*n : (t+1)*n] {
		sum += math.Pow(10, l/10)
	}
	return 10 * math.Log10(sum/float64(n))
}

func meanSquare(v []float64, from float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += (x - from) * (x - from)
	}
	return sum / float64(len(v))
}
