package report

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/fitcorr"
)

// levelAspect is the aspect of level plots, differenceAspect that of plots of
// small differences (both IEC 60263:2020, 4.1).
const (
	levelAspect      = 25
	differenceAspect = 10
)

// levels returns the curve with NaN where a band does not count.
func levels(c fitcorr.Curve, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
		if i < len(c.LevelDB) && i < len(c.Valid) && c.Valid[i] {
			out[i] = c.LevelDB[i]
		}
	}
	return out
}

// ordinaryRecordings are the usable placements of a model at a point without
// deliberate displacement; worn ones or those on the fixture.
func ordinaryRecordings(r Results, model string, p capture.Point, worn bool) []Recording {
	var out []Recording
	for _, rec := range r.Recordings {
		if rec.Usable && rec.Model == model && rec.Point == p && rec.Survey == nil && !rec.BareEar() && rec.OnFixture() != worn {
			out = append(out, rec)
		}
	}
	return out
}

// spreadOf is the median with the 10th and 90th percentile per band over the
// curves; a band counts where at least half of them do. ok is false for fewer
// than three curves: a spread of two is not one.
func spreadOf(curves [][]float64, n int) (mid, lower, upper []float64, ok bool) {
	if len(curves) < 3 {
		return nil, nil, nil, false
	}
	mid, lower, upper = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		var v []float64
		for _, c := range curves {
			if !math.IsNaN(c[i]) {
				v = append(v, c[i])
			}
		}
		if len(v) < 3 || 2*len(v) < len(curves) {
			mid[i], lower[i], upper[i] = math.NaN(), math.NaN(), math.NaN()
			continue
		}
		slices.Sort(v)
		mid[i] = stat.Quantile(0.5, stat.LinInterp, v, nil)
		lower[i] = stat.Quantile(0.1, stat.LinInterp, v, nil)
		upper[i] = stat.Quantile(0.9, stat.LinInterp, v, nil)
	}
	return mid, lower, upper, true
}

// spreadSeries makes the spread of some recordings a series.
func spreadSeries(name string, recs []Recording, ear capture.Ear, n int, st Style, shift func(int) float64) (Series, bool) {
	var curves [][]float64
	for _, rec := range recs {
		curves = append(curves, shifted(levels(rec.Ears[ear], n), shift))
	}
	mid, lo, hi, ok := spreadOf(curves, n)
	return Series{Name: name, Group: name, Y: mid, Lower: lo, Upper: hi, Style: st}, ok
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
func wornFigures(r Results) []Figure {
	var out []Figure
	n := len(r.BandsHz)
	for _, m := range r.Analysis.Models {
		worn := ordinaryRecordings(r, m.Model, capture.Blocked, true)
		fixture := ordinaryRecordings(r, m.Model, capture.Blocked, false)
		if len(worn)+len(fixture) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			c := &Curves{Hz: r.BandsHz, YLabel: "Level, " + r.LevelUnit, Unit: "dB", Decimals: 1, DBPerDecade: levelAspect}
			if s, ok := spreadSeries("worn: median, 10–90 %", worn, ear, n, Style{}, nil); ok {
				c.Series = append(c.Series, s)
			}
			if s, ok := spreadSeries("fixture: median, 10–90 %", fixture, ear, n, Style{Tint: 1, Dash: 1}, nil); ok {
				s.Hidden = true
				c.Series = append(c.Series, s)
			}
			for i, rec := range fixture {
				name := "fixture " + fixed(float64(rec.Number), 0)
				c.Series = append(c.Series, Series{Name: name, Group: name, Link: rec.File, Y: levels(rec.Ears[ear], n), Style: styleFor(i)})
			}
			for i, who := range listeners(r, m.Model) {
				for _, rec := range worn {
					if rec.Subject == who {
						c.Series = append(c.Series, Series{Name: who + "." + fixed(float64(rec.Number), 0), Group: who, Link: rec.File,
							Y: levels(rec.Ears[ear], n), Style: Style{Tint: 1 + i%Tints, Dash: 2 + i/Tints%2, Thin: true}, Hidden: true})
					}
				}
			}
			out = append(out, Figure{Name: figureName(SectionWorn, m.Model, ear), Section: SectionWorn, Model: m.Model, Ear: ear.String(),
				Title: m.Model + ", " + ear.String() + " ear: worn against fixture",
				Note: "Level at the blocked canal entrance per 1/24 octave: median and 10th to 90th percentile of " +
					plural(len(worn), "worn seating") + ", and " + plural(len(fixture), "fixture seating") + ".",
				Curves: c})
		}
	}
	return shareByModel(out)
}

func figureName(section, model string, ear capture.Ear) string {
	return section + "-" + slug(model) + "-" + ear.String()
}

// correctedFigures sets the raw curve of each fixture seating beside the one
// moved to the panel's mean.
func correctedFigures(r Results) []Figure {
	var out []Figure
	n := len(r.BandsHz)
	ix := newIndex(r)
	for _, m := range r.Analysis.Models {
		wanted := correctionsShown(m)
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			for _, ear := range capture.Ears {
				c := &Curves{Hz: r.BandsHz, YLabel: "Level, " + r.LevelUnit, Unit: "dB", Decimals: 1, DBPerDecade: levelAspect}
				if p == capture.Blocked {
					if s, ok := spreadSeries("worn: median, 10–90 %", ordinaryRecordings(r, m.Model, p, true), ear, n, Style{}, nil); ok {
						c.Series = append(c.Series, s)
					}
				}
				shown := 0
				for _, co := range m.Corrections {
					rec, ok := ix.recording(co.ID)
					if !ok || co.Point != p || co.Ear != ear.String() || !anyTrue(co.Applied) {
						continue
					}
					raw := levels(rec.Ears[ear], n)
					name := "seating " + fixed(float64(rec.Number), 0)
					st := Style{Tint: 1 + shown%Tints}
					hide := !wanted[rec.Number]
					c.Series = append(c.Series,
						Series{Name: name + " raw", Group: name, Link: rec.File, Y: raw, Style: Style{Tint: st.Tint, Dash: 1}, Hidden: hide},
						correctedSeries(name+" corrected", name, rec.File, raw, co, r.Options.Confidence, st, hide))
					shown++
				}
				if shown == 0 {
					continue
				}
				out = append(out, Figure{Name: figureName(SectionCorrected+"-"+string(p), m.Model, ear), Section: SectionCorrected, Model: m.Model, Ear: ear.String(),
					Title: m.Model + ", " + ear.String() + " ear, " + string(p) + " point: corrected against raw",
					Note: "Dashed: raw. Full with the " + percent(r.Options.Confidence) + " interval of the correction: moved to the panel's mean, " +
						"only in the bands where that brought held-out curves closer.",
					Curves: c})
			}
		}
	}
	return shareByModel(out)
}

// correctionsShown picks the seatings that a corrected plot shows at first: the
// first two that are to be moved or resealed, else the first two.
func correctionsShown(m fitcorr.ModelAnalysis) map[int]bool {
	out := map[int]bool{}
	for _, off := range []bool{true, false} {
		for _, v := range m.Verdicts {
			if a := actionFor(v); len(out) < 2 && (a == actMove || a == actReseal || a == actMoveReseal) == off {
				out[v.Seating] = true
			}
		}
	}
	return out
}

func correctedSeries(name, group, link string, raw []float64, co fitcorr.Correction, confidence float64, st Style, hide bool) Series {
	s := Series{Name: name, Group: group, Link: link, Style: st, Hidden: hide}
	k := quantile(confidence, 0)
	for i := range raw {
		y, half := math.NaN(), math.NaN()
		if i < len(co.Applied) && co.Applied[i] && i < len(co.DeltaDB) && i < len(co.StdErrDB) {
			y, half = raw[i]+co.DeltaDB[i], k*co.StdErrDB[i]
		}
		s.Y = append(s.Y, y)
		s.Lower = append(s.Lower, y-half)
		s.Upper = append(s.Upper, y+half)
	}
	return s
}

func anyTrue(v []bool) bool { return slices.Contains(v, true) }

// view is one way to look at drum-point curves.
type view struct {
	name, title, label, note string
	shift                    func(int) float64
}

// views gives the curves minus the fixture's reference first and the raw ones
// beside them; without a reference, only the raw ones.
func views(r Results) []view {
	raw := view{name: "raw", title: "raw", label: "Level, " + r.LevelUnit}
	if len(r.ReferenceDB) != len(r.BandsHz) {
		return []view{raw}
	}
	return []view{{"compensated", "minus the fixture's reference", "Level re reference, dB", " The reference belongs to this fixture; slope " +
		fixed(r.Options.SlopeDBPerOctave, 1) + " dB per octave about 1 kHz.", func(i int) float64 { return -r.ReferenceDB[i] }}, raw}
}

// compensatedFigures draws the drum-point curves as spreads over seatings.
func compensatedFigures(r Results) []Figure {
	var out []Figure
	n := len(r.BandsHz)
	for _, m := range r.Analysis.Models {
		drum := ordinaryRecordings(r, m.Model, capture.Drum, false)
		if len(drum) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			for _, v := range views(r) {
				c := &Curves{Hz: r.BandsHz, YLabel: v.label, Unit: "dB", Decimals: 1, DBPerDecade: levelAspect}
				if s, ok := spreadSeries("fixture: median, 10–90 %", drum, ear, n, Style{}, v.shift); ok {
					c.Series = append(c.Series, s)
				}
				for i, rec := range drum {
					name := "seating " + fixed(float64(rec.Number), 0)
					c.Series = append(c.Series, Series{Name: name, Group: name, Link: rec.File, Style: styleFor(i), Hidden: len(drum) >= 3,
						Y: shifted(levels(rec.Ears[ear], n), v.shift)})
				}
				out = append(out, Figure{Name: v.name + "-" + slug(m.Model) + "-" + ear.String(), Section: SectionCompensated, Model: m.Model, Ear: ear.String(),
					Title:  m.Model + ", " + ear.String() + " ear, drum point: " + v.title,
					Note:   plural(len(drum), "fixture seating") + ": median and 10th to 90th percentile per 1/24 octave." + v.note,
					Curves: c})
			}
		}
	}
	return shareSpan(out)
}
