package draw

import (
	"math"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seat"
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
	zero := figure.Series{Style: figure.Style{Thin: true}} // with what it spreads or is uncertain by
	var refs [2][]float64
	if rec.Point == capture.Blocked {
		zero.Name = "worn: median, 10–90 %"
		worn := r.Ordinary(rec.Model, rec.Point, true)
		refs, zero.Lower, zero.Upper = seat.SpreadAbout([2][]fitcorr.Curve{curvesOf(worn, capture.Left), curvesOf(worn, capture.Right)}, n)
	} else {
		zero.Name = "final curve, interval"
		var half [2][]float64
		for _, ear := range capture.Ears {
			if final, ok := finalCurve(*s.Model, rec.Point, ear); ok {
				c.YLabel, f.Title = "This minus final, dB", "Seating "+text.Fixed(float64(rec.Number), 0)+" minus the final curve"
				f.Note = "Level of this seating minus the final curve at the drum reference point, which stands for the headphone as worn (mean of " + final.MadeOf() +
					"), with that curve's " + text.Percent(r.Options.Confidence) + " interval."
				refs[ear], half[ear] = finalLevels(final, final.LevelDB, n), finalLevels(final, final.HalfDB, n)
			}
		}
		zero.Lower, zero.Upper = widest(half, n)
	}
	var lines []figure.Series
	for _, ear := range capture.Ears {
		if ref := refs[ear]; ref != nil {
			lines = append(lines, figure.Series{Name: ear.String(), Group: ear.String(), Link: rec.File, Y: minus(rec.Ears[ear].Masked(n), ref), Style: earStyle(ear)})
		}
	}
	if len(lines) == 0 {
		return figure.Figure{}, false
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

// earStyle tells the ears apart with colour and without.
func earStyle(ear capture.Ear) figure.Style {
	return [2]figure.Style{{Tint: 1}, {Tint: 2, Dash: 1}}[ear]
}

func finalLevels(f fitcorr.FinalCurve, v []float64, n int) []float64 {
	return fitcorr.Curve{LevelDB: v, Valid: f.Valid}.Masked(n)
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

// widest is the wider of both ears' intervals about zero, NaN where neither has one.
func widest(half [2][]float64, n int) (lower, upper []float64) {
	lower, upper = make([]float64, n), make([]float64, n)
	for i := range n {
		upper[i] = math.NaN()
		for _, h := range half {
			if h != nil && !math.IsNaN(h[i]) && !(h[i] <= upper[i]) {
				upper[i] = h[i]
			}
		}
		lower[i] = -upper[i]
	}
	return lower, upper
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
				Title: m.Model + ", " + p.Words() + ": fixture minus worn",
				Note: "Mean of " + text.Plural(fixture, "fixture seating") + " minus worn mean, with the " + text.Percent(r.Options.Confidence) +
					" interval for people like the sample. It holds everything in which the fixture differs from people: position, seal and the shape of its ear.", Curves: c})
		}
	}
	return figure.ShareScale(out)
}
