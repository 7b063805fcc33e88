package draw

import (
	"math"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/stats"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/text"
)

// SideViews gives the side view of each fixture seating that has a verdict, by the
// seating's key, all at one scale.
func SideViews(r *judged.Study) map[string]figure.Side {
	limit := max(4, 1.3*r.Options.MaxOffsetMM)
	out := map[string]figure.Side{}
	for _, s := range r.Seatings {
		if s.Action == judged.Refused {
			continue
		}
		v := figure.Side{ToleranceMM: r.Options.MaxOffsetMM,
			Label: "Side view of a head: " + judged.MoveWords(s.Verdict, r.Options)}
		seen := false
		for _, ear := range capture.Ears {
			off := s.Verdict.Ears[ear].Off
			v.Cups[ear] = figure.SideCup{Offset: [2]float64{off.Value[0], off.Value[1]}, Seen: off.Seen[0] && off.Seen[1]}
			if v.Cups[ear].Seen {
				seen, limit = true, max(limit, math.Hypot(off.Value[0], off.Value[1]))
			}
		}
		if seen {
			out[s.Verdict.ID] = v
		}
	}
	for id, v := range out {
		v.LimitMM = min(math.Ceil(limit), 20)
		out[id] = v
	}
	return out
}

// Against draws one fixture seating against what it should measure: at the blocked
// ear-canal entrance the median of the worn seatings, with their spread; at the
// drum reference point, where nobody was measured, the final curve with its
// interval. False when there is neither.
func Against(r *judged.Study, s judged.Seating) (figure.Figure, bool) {
	rec, ok := r.Recording(s.Verdict.ID)
	if s.Action == judged.Refused || !ok {
		return figure.Figure{}, false
	}
	n := len(r.BandsHz)
	c := &figure.Curves{Hz: r.BandsHz, YLabel: "This minus worn, dB", Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
	f := figure.Figure{Name: "seating-" + text.Slug(rec.File), Section: figure.SectionSeatings, Model: rec.Model, Curves: c,
		Title: "Seating " + text.Fixed(float64(rec.Number), 0) + " minus worn", Note: "Level of this seating minus the median of the worn seatings, with their 10th to 90th percentile."}
	var band [][]float64 // what the zero is uncertain by or spreads: differences from it
	var lines []figure.Series
	for _, ear := range capture.Ears {
		var ref []float64
		if rec.Point == capture.Blocked {
			var curves [][]float64
			for _, w := range r.Ordinary(rec.Model, rec.Point, true) {
				curves = append(curves, levels(w.Ears[ear], n))
			}
			mid, _, _, ok := stats.Spread(curves, n)
			if !ok {
				continue
			}
			ref = mid
			for _, w := range curves {
				band = append(band, minus(w, mid))
			}
		} else {
			final, ok := finalCurve(modelOf(s), rec.Point, ear)
			if !ok {
				continue
			}
			c.YLabel, f.Title = "This minus final, dB", "Seating "+text.Fixed(float64(rec.Number), 0)+" minus the final curve"
			f.Note = "Level of this seating minus the final curve at the drum reference point, which stands for the headphone as worn (mean of " + final.MadeOf() +
				"), with that curve's " + text.Percent(r.Options.Confidence) + " interval."
			ref = finalLevels(final, final.LevelDB, n)
			half := finalLevels(final, final.HalfDB, n)
			band = append(band, half, negative(half))
		}
		lines = append(lines, figure.Series{Name: ear.String(), Group: ear.String(), Link: rec.File, Y: minus(levels(rec.Ears[ear], n), ref), Style: earStyle(ear)})
	}
	if len(lines) == 0 {
		return figure.Figure{}, false
	}
	zero := figure.Series{Name: "worn: median, 10–90 %", Style: figure.Style{Thin: true}}
	if rec.Point == capture.Blocked {
		_, zero.Lower, zero.Upper, _ = stats.Spread(band, n)
	} else {
		zero.Name = "final curve, interval"
		zero.Lower, zero.Upper = extremes(band, n)
	}
	zero.Group, zero.Y = zero.Name, make([]float64, n)
	for i := range zero.Y {
		if math.IsNaN(zero.Lower[i]) {
			zero.Y[i] = math.NaN()
		}
	}
	c.Series = append([]figure.Series{zero}, lines...)
	figure.ShareScale([]figure.Figure{f})
	return f, true
}

func modelOf(s judged.Seating) fitcorr.ModelAnalysis { return *s.Model }

// earStyle tells the ears apart with colour and without.
func earStyle(ear capture.Ear) figure.Style {
	return [2]figure.Style{{Tint: 1}, {Tint: 2, Dash: 1}}[ear]
}

func finalLevels(f fitcorr.FinalCurve, v []float64, n int) []float64 {
	return levels(fitcorr.Curve{LevelDB: v, Valid: f.Valid}, n)
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

func negative(a []float64) []float64 { return minus(make([]float64, len(a)), a) }

// extremes are the lowest and highest of some curves in each band.
func extremes(curves [][]float64, n int) (lo, hi []float64) {
	lo, hi = make([]float64, n), make([]float64, n)
	for i := range n {
		lo[i], hi[i] = math.NaN(), math.NaN()
		for _, c := range curves {
			if !math.IsNaN(c[i]) {
				lo[i], hi[i] = fmin(lo[i], c[i]), fmax(hi[i], c[i])
			}
		}
	}
	return lo, hi
}

// fmin and fmax leave out NaN.
func fmin(a, b float64) float64 {
	if a < b {
		return a
	}
	return b
}

func fmax(a, b float64) float64 {
	if a > b {
		return a
	}
	return b
}

// differenceFigures draws fixture minus worn, both ears in one plot per model and point.
func differenceFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			c := &figure.Curves{Hz: r.ThirdsHz, YLabel: "Fixture minus worn, dB", Unit: "dB", Decimals: 1, DBPerDecade: figure.DifferenceAspect}
			fixture := 0
			for _, s := range m.Sensitivity {
				if s.Point != p || s.BiasDB == nil {
					continue
				}
				fixture = max(fixture, s.OnFixture)
				line := figure.Series{Name: s.Ear.String(), Group: s.Ear.String(), Style: earStyle(s.Ear)}
				for i := range r.ThirdsHz {
					y, half := math.NaN(), math.NaN()
					if s.BiasCounts(i) {
						y, half = s.BiasDB[i], s.BiasHalf(i, r.Options.Confidence)
					}
					line.Y, line.Lower, line.Upper = append(line.Y, y), append(line.Lower, y-half), append(line.Upper, y+half)
				}
				c.Series = append(c.Series, line)
			}
			if len(c.Series) == 0 {
				continue
			}
			out = append(out, figure.Figure{Name: string(figure.SectionDifference) + "-" + text.Slug(m.Model) + "-" + string(p), Section: figure.SectionDifference, Model: m.Model,
				Title: m.Model + ", " + judged.PointWords(p) + ": fixture minus worn",
				Note: "Mean of " + text.Plural(fixture, "fixture seating") + " minus worn mean, with the " + text.Percent(r.Options.Confidence) +
					" interval for people like the sample. It holds everything in which the fixture differs from people: position, seal and the shape of its ear.", Curves: c})
		}
	}
	return figure.ShareScale(out)
}
