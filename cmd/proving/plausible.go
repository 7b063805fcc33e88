package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
)

// plausible writes the spread of the levels a generator produces, per third
// octave: what the physics is to be held against published repeat measurements by.
func plausible(ctx context.Context, w io.Writer, world simulate.World, seed uint64, studies, jobs int) error {
	d := simulate.BarDesign()
	d.Listeners = 12
	d.FixtureOffsetsMM = make([]float64, d.FixtureSeatings) // an operator who aims well
	var within, between, fixture, slope, turn [band.Thirds][]float64
	for i := range studies {
		s := simulate.Draw(seed+uint64(i), d, world)
		seatings, err := s.Seatings(ctx, seed+uint64(i), jobs)
		if err != nil {
			return err
		}
		for t := range band.Thirds {
			for m := range s.Models {
				groups := map[int][]float64{}
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
				var means, square []float64
				for subject := range d.Listeners {
					mean, variance := stat.MeanVariance(groups[subject], nil)
					means, square = append(means, mean), append(square, variance)
				}
				at := stat.Mean(mark, nil)
				within[t] = append(within[t], stat.Mean(square, nil))
				between[t] = append(between[t], stat.Variance(means, nil))
				fixture[t] = append(fixture[t], stat.Variance(groups[d.Listeners], nil))
				slope[t] = append(slope[t], meanSquare(moved, at)/16)
				turn[t] = append(turn[t], meanSquare(turned, at)/100)
			}
		}
	}
	fmt.Fprintf(w, "| third octave, Hz | between listeners, dB | within a listener, dB | on the fixture, dB | per mm, dB | per degree, dB |\n|---|---|---|---|---|---|\n")
	for t, b := range band.AllThirds() {
		rms := func(v []float64) float64 { return math.Sqrt(stat.Mean(v, nil)) }
		fmt.Fprintf(w, "| %.0f | %.1f | %.1f | %.1f | %.2f | %.3f |\n", b.Mid,
			rms(between[t]), rms(within[t]), rms(fixture[t]), rms(slope[t]), rms(turn[t]))
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
