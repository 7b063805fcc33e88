package draw

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seat"
	"asworn/report"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/text"
)

// spreadSeries makes the spread of some recordings a series.
func spreadSeries(name string, recs []report.Recording, ear capture.Ear, n int, st figure.Style, shift func(int) float64) (figure.Series, bool) {
	mid, lo, hi, ok := seat.Spread(curvesOf(recs, ear), n)
	return figure.Series{Name: name, Group: name, Y: shifted(mid, shift), Lower: shifted(lo, shift), Upper: shifted(hi, shift), Style: st}, ok
}

func curvesOf(recs []report.Recording, ear capture.Ear) []fitcorr.Curve {
	out := make([]fitcorr.Curve, len(recs))
	for i, rec := range recs {
		out[i] = rec.Ears[ear]
	}
	return out
}

func shifted(y []float64, by func(int) float64) []float64 {
	if by != nil {
		for i := range y {
			y[i] += by(i)
		}
	}
	return y
}

// wornFigures sets worn against fixture, per model and ear.
func wornFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	n := len(r.BandsHz)
	for _, m := range r.Analysis.Models {
		worn := r.Ordinary(m.Model, capture.Blocked, true)
		fixture := r.Ordinary(m.Model, capture.Blocked, false)
		if len(worn)+len(fixture) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			c := &figure.Curves{Hz: r.BandsHz, YLabel: "Level, " + string(r.LevelUnit), Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
			several := false // fixture seatings enough for a spread: each by itself is for the asking
			if s, ok := spreadSeries("worn: median, 10–90 %", worn, ear, n, figure.Style{}, nil); ok {
				s.Top = true
				c.Series = append(c.Series, s)
			}
			if s, ok := spreadSeries("fixture: median, 10–90 %", fixture, ear, n, figure.Style{Tint: 1, Dash: 1}, nil); ok {
				several = true
				c.Series = append(c.Series, s)
			}
			for i, rec := range fixture {
				name := "fixture " + text.Fixed(float64(rec.Number), 0)
				c.Series = append(c.Series, figure.Series{Name: name, Group: name, Link: rec.File, Y: rec.Ears[ear].Masked(n), Style: figure.StyleFor(i), Hidden: several})
			}
			for i, who := range r.Listeners(m.Model) {
				for _, rec := range worn {
					if rec.Subject == who {
						c.Series = append(c.Series, figure.Series{Name: who + "." + text.Fixed(float64(rec.Number), 0), Group: who, Link: rec.File,
							Y: rec.Ears[ear].Masked(n), Style: thin(figure.StyleFor(i)), Hidden: true})
					}
				}
			}
			out = append(out, figure.Figure{Name: figureName(figure.SectionWorn, m.Model, ear), Section: figure.SectionWorn, Model: m.Model, Ear: ear.String(),
				Title: m.Model + ", " + ear.String() + " ear: worn and fixture levels",
				Note: "Level at the blocked ear-canal entrance per 1/24 octave: median and 10th to 90th percentile of " +
					text.Plural(len(worn), "worn seating") + ", and " + text.Plural(len(fixture), "fixture seating") + ".",
				Curves: c})
		}
	}
	return figure.ShareByModel(out)
}

func thin(s figure.Style) figure.Style {
	s.Thin = true
	return s
}

func figureName(section figure.Section, model string, ear capture.Ear) string {
	return string(section) + "-" + text.Slug(model) + "-" + ear.String()
}

// correctedFigures sets the raw curve of each fixture seating beside the one
// moved to the panel's mean.
func correctedFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	n := len(r.BandsHz)
	for _, m := range r.Analysis.Models {
		wanted := correctionsShown(m)
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			for _, ear := range capture.Ears {
				c := &figure.Curves{Hz: r.BandsHz, YLabel: "Level, " + string(r.LevelUnit), Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
				if p == capture.Blocked {
					if s, ok := spreadSeries("worn: median, 10–90 %", r.Ordinary(m.Model, p, true), ear, n, figure.Style{}, nil); ok {
						s.Top = true
						c.Series = append(c.Series, s)
					}
				}
				shown := 0
				for _, co := range m.Corrections {
					rec, ok := r.Recording(co.ID)
					if !ok || co.Point != p || co.Ear != ear || !slices.Contains(co.Applied, true) {
						continue
					}
					raw := rec.Ears[ear].Masked(n)
					name := "seating " + text.Fixed(float64(rec.Number), 0)
					st := figure.Style{Tint: 1 + shown%figure.Tints, Dash: 2 * (shown % (figure.Dashes / 2))}
					hide := !wanted[rec.Number]
					c.Series = append(c.Series,
						figure.Series{Name: name + " raw", Group: name, Link: rec.File, Y: raw, Style: figure.Style{Tint: st.Tint, Dash: st.Dash, Thin: true}, Hidden: hide},
						corrected(figure.Series{Name: name + " corrected", Group: name, Link: rec.File, Style: st, Hidden: hide}, raw, co, r.Options.Confidence))
					shown++
				}
				if shown == 0 {
					continue
				}
				out = append(out, figure.Figure{Name: figureName(figure.SectionCorrected+"-"+figure.Section(p), m.Model, ear), Section: figure.SectionCorrected, Model: m.Model, Ear: ear.String(),
					Title: m.Model + ", " + ear.String() + " ear, " + p.Words() + ": corrected and raw",
					Note: "Thin: raw. Wide, with the " + text.Percent(r.Options.Confidence) + " interval of the correction: moved to the sample mean, " +
						"only in the bands where that brought held-out curves closer.",
					Curves: c})
			}
		}
	}
	return figure.ShareByModel(out)
}

// correctionsShown picks the seatings that a corrected plot shows at first: the
// first two that are to be moved or resealed, else the first two.
func correctionsShown(m fitcorr.ModelAnalysis) map[int]bool {
	out := map[int]bool{}
	for _, off := range []bool{true, false} {
		for _, v := range m.Verdicts {
			if a := judged.ActionFor(v); len(out) < 2 && (a == judged.Move || a == judged.Reseal || a == judged.MoveReseal) == off {
				out[v.Seating] = true
			}
		}
	}
	return out
}

// corrected is series s with the levels of a correction of raw, and their interval; NaN where
// it does not apply.
func corrected(s figure.Series, raw []float64, co fitcorr.Correction, confidence float64) figure.Series {
	for i := range raw {
		y, half := math.NaN(), math.NaN()
		if i < len(co.Applied) && co.Applied[i] && i < len(co.DeltaDB) && i < len(co.StdErrDB) {
			y, half = raw[i]+co.DeltaDB[i], co.HalfDB(i, confidence)
		}
		s.Y = append(s.Y, y)
		s.Lower = append(s.Lower, y-half)
		s.Upper = append(s.Upper, y+half)
	}
	return s
}

// view is one way to look at drum-point curves.
type view struct {
	name, title, label, note string
	shift                    func(int) float64
}

// views gives the curves minus the fixture's reference first and the raw ones
// beside them; without a reference, only the raw ones.
func views(r *judged.Study) []view {
	raw := view{name: "raw", title: "raw", label: "Level, " + string(r.LevelUnit)}
	if len(r.ReferenceDB) != len(r.BandsHz) {
		return []view{raw}
	}
	return []view{{"compensated", "minus the fixture's reference", "Level re reference, dB", " The reference belongs to this fixture; slope " +
		text.Fixed(r.Options.SlopeDBPerOctave, 1) + " dB per octave about 1 kHz.", func(i int) float64 { return -r.ReferenceDB[i] }}, raw}
}

// finalSeries are the final curve of one ear with its interval, and the extremes of the
// seatings that it is the mean of.
func finalSeries(f fitcorr.FinalCurve, n int, shift func(int) float64) []figure.Series {
	at := func(v []float64, i int) float64 {
		if i >= len(v) || i >= len(f.Valid) || !f.Valid[i] {
			return math.NaN()
		}
		return v[i]
	}
	final := figure.Series{Name: "final curve with its interval", Group: "final curve"}
	extremes := figure.Series{Name: "seatings in it: lowest to highest", Group: "seatings in it", Style: figure.Style{Tint: 1, Dash: 1}, Hidden: f.Used < 2}
	for i := range n {
		y, half := at(f.LevelDB, i), at(f.HalfDB, i)
		final.Y, final.Lower, final.Upper = append(final.Y, y), append(final.Lower, y-half), append(final.Upper, y+half)
		extremes.Y, extremes.Lower, extremes.Upper = append(extremes.Y, y), append(extremes.Lower, at(f.LowDB, i)), append(extremes.Upper, at(f.HighDB, i))
	}
	for _, s := range []*figure.Series{&final, &extremes} {
		s.Y, s.Lower, s.Upper = shifted(s.Y, shift), shifted(s.Lower, shift), shifted(s.Upper, shift)
	}
	return []figure.Series{final, extremes}
}

func finalCurve(m fitcorr.ModelAnalysis, p capture.Point, ear capture.Ear) (fitcorr.FinalCurve, bool) {
	i := slices.IndexFunc(m.Curves, func(f fitcorr.FinalCurve) bool { return f.Point == p && f.Ear == ear && f.LevelDB != nil })
	if i < 0 {
		return fitcorr.FinalCurve{}, false
	}
	return m.Curves[i], true
}

// compensatedFigures draws the final curve at the drum reference point, less the fixture's
// reference and raw: the same curve, of the same seatings. The seatings as measured
// stand beside it.
func compensatedFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	n := len(r.BandsHz)
	for _, m := range r.Analysis.Models {
		drum := r.Ordinary(m.Model, capture.Drum, false)
		if len(drum) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			for _, v := range views(r) {
				c := &figure.Curves{Hz: r.BandsHz, YLabel: v.label, Unit: "dB", Decimals: 1, DBPerDecade: figure.LevelAspect}
				final, ok := finalCurve(m, capture.Drum, ear)
				note := "No final curve: no seating could be used as it is or corrected. Seatings as measured."
				if ok {
					c.Series = finalSeries(final, n, v.shift)
					note = "Final curve: the mean of " + final.MadeOf() + "; with its " + text.Percent(r.Options.Confidence) + " interval. Single seatings: as measured."
				}
				if s, spread := spreadSeries("seatings as measured: median, 10–90 %", drum, ear, n, figure.Style{Tint: 2, Dash: 2}, v.shift); spread {
					s.Hidden, ok = ok, true
					c.Series = append(c.Series, s)
				}
				for i, rec := range drum {
					name := "seating " + text.Fixed(float64(rec.Number), 0)
					c.Series = append(c.Series, figure.Series{Name: name, Group: name, Link: rec.File, Style: figure.StyleFor(i), Hidden: ok,
						Y: shifted(rec.Ears[ear].Masked(n), v.shift)})
				}
				out = append(out, figure.Figure{Name: v.name + "-" + text.Slug(m.Model) + "-" + ear.String(), Section: figure.SectionCompensated, Model: m.Model, Ear: ear.String(), View: v.name,
					Title:  m.Model + ", " + ear.String() + " ear, drum reference point: " + v.title,
					Note:   note + v.note,
					Curves: c})
			}
		}
	}
	return figure.ShareSpan(out)
}
