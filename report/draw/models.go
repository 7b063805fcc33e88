package draw

import (
	"math"
	"slices"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// mapFigures draws where each seating sits, per model and ear.
func mapFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		if len(m.Offsets) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			om := offsetMap(r, m, ear)
			if len(om.Points) == 0 {
				continue
			}
			note := "Side view of the head axes about " + om.Origin + ". Numbered marks with ellipses: fixture seatings, one that would lie on another moved aside, with a line to its place; the ellipse's extent along an axis is the " +
				text.Percent(r.Options.Confidence) + " interval of that axis. Small dots: worn seatings."
			if om.ToleranceMM > 0 {
				note += " Dashed circle: tolerance, " + text.Fixed(om.ToleranceMM, 1) + " mm. Grey ellipse: one standard deviation of worn seatings. Ellipse about the origin: interval of the sample mean, which those of the fixture seatings hold already. Cross: the fixture's marked position."
			}
			if len(om.Unseen) > 0 {
				note += " Not drawn, because the survey does not see an axis: " + text.Join(om.Unseen) + "."
			}
			out = append(out, figure.Figure{Name: figureName(figure.SectionMap, m.Model, ear), Section: figure.SectionMap, Model: m.Model, Ear: ear.String(),
				Title: m.Model + ", " + ear.String() + " ear: offsets", Note: note, Map: &om})
		}
	}
	limit := 0.0
	for _, f := range out {
		limit = max(limit, f.Map.Limit)
	}
	for _, f := range out { // one scale for all maps
		f.Map.Limit = limit
	}
	return out
}

// offsetMap puts the panel's mean at the origin, where there is one, so that the
// fixture seatings' intervals are those that the verdict rests on.
func offsetMap(r *judged.Study, m fitcorr.ModelAnalysis, ear capture.Ear) figure.OffsetMap {
	om := figure.OffsetMap{Origin: "the fixture's marked position"}
	var origin [3]float64
	if m.Worn != nil {
		mean := m.Worn.EarMean[ear]
		origin = mean.Value
		om.Origin, om.ToleranceMM = "the sample mean at this ear", r.Options.MaxOffsetMM
		om.Marked = &[2]float64{-origin[0], -origin[1]}
		om.Mean = figure.EllipseOf(mean.Cov, mean.Coverage(r.Options.Confidence))
		om.Spread = &figure.Ellipse{A: m.Worn.SeatingSD(fitcorr.Forward), B: m.Worn.SeatingSD(fitcorr.Up)}
		om.Limit = om.ToleranceMM
	}
	people := r.Listeners(m.Model)
	verdicts := map[string]fitcorr.Verdict{}
	for _, v := range m.Verdicts {
		verdicts[v.ID] = v
	}
	for _, o := range m.Offsets {
		if o.Survey {
			continue
		}
		e := o.Ears[ear]
		p := figure.MapPoint{Name: o.Subject + ", seating " + strconv.Itoa(o.Seating), Link: o.ID, Group: o.Subject,
			Worn: !o.OnFixture(), Shape: max(0, slices.Index(people, o.Subject)), X: e.Value[0] - origin[0], Y: e.Value[1] - origin[1]}
		if !p.Worn {
			p.Group, p.Label = "fixture "+strconv.Itoa(o.Seating), strconv.Itoa(o.Seating)
			off := e
			if v, ok := verdicts[o.ID]; ok {
				off = v.Ears[ear].Off
				p.X, p.Y = off.Value[0], off.Value[1]
				p.Verdict, p.Tone = judged.ActionFor(v).String(), judged.ActionFor(v).Tone()
			}
			p.Interval = figure.EllipseOf(off.Cov, off.Coverage(r.Options.Confidence))
		}
		if !e.Seen[0] || !e.Seen[1] {
			om.Unseen = append(om.Unseen, p.Name)
			continue
		}
		om.Points = append(om.Points, p)
		reach := max(math.Abs(p.X), math.Abs(p.Y))
		if p.Interval != nil {
			reach += 0.7 * p.Interval.A
		}
		om.Limit = max(om.Limit, reach)
	}
	om.Limit = min(max(4, math.Ceil((om.Limit+0.5)/2)*2), 20)
	return om
}

// leakFigures compares the level lost at 50 Hz, per model and ear.
func leakFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	for _, m := range r.Analysis.Models {
		if m.OpenBack {
			continue
		}
		for _, ear := range capture.Ears {
			d := &figure.Dots{XLabel: "Leakage loss at 50 Hz, dB", Unit: "dB", Decimals: 1}
			for _, v := range r.Seatings {
				if v.Model.Model != m.Model || v.Offset == nil {
					continue
				}
				l := v.Offset.Leak[ear]
				name := "fixture " + strconv.Itoa(v.Verdict.Seating)
				half := l.LossHalf(1, r.Options.Confidence)
				dot := figure.Dot{Name: name, Group: name, Link: v.Verdict.ID, Est: l.LossDB[1], Lower: l.LossDB[1] - half, Upper: l.LossDB[1] + half}
				dot.Verdict, dot.Tone = sealWord(v.Verdict.Ears[ear])
				d.Rows = append(d.Rows, dot)
			}
			for _, who := range r.Listeners(m.Model) {
				if dot, ok := listenerLeak(m, who, ear); ok {
					d.Rows = append(d.Rows, dot)
				}
			}
			if len(d.Rows) == 0 {
				continue
			}
			if m.Worn != nil {
				usual := m.Worn.UsualLoss(ear)
				d.Band, d.BandName = &usual, "sample mean ± SD"
			}
			out = append(out, figure.Figure{Name: figureName(figure.SectionLeak, m.Model, ear), Section: figure.SectionLeak, Model: m.Model, Ear: ear.String(),
				Title: m.Model + ", " + ear.String() + " ear: seal",
				Note: "Leakage loss at 50 Hz through the leak, against the best-sealed reference. Fixture seatings with the " + text.Percent(r.Options.Confidence) +
					" interval; listeners: mean and range of their seatings. Band: the sample mean ± one standard deviation over seatings, cut at zero.",
				Dots: d})
		}
	}
	figure.EachModel(out, figure.SetDotRange)
	return out
}

func sealWord(e fitcorr.EarVerdict) (string, table.Tone) {
	switch {
	case judged.Leaks(e):
		return "reseal", table.Act
	case e.Seal == fitcorr.SealTighter:
		return "tighter than worn", table.Plain
	case e.Seal == fitcorr.SealAsWorn:
		return "as worn", table.Good
	}
	return "undetermined", table.Unsure
}

func listenerLeak(m fitcorr.ModelAnalysis, who string, ear capture.Ear) (figure.Dot, bool) {
	l := m.Listener(who)
	loss := l.LossDB[ear]
	return figure.Dot{Name: who, Group: who, Est: loss[0], Lower: loss[1], Upper: loss[2]}, l.Seals[ear]
}

// Plots of standard deviations have the scale of this range: what they do at its
// ends, where leaks and the ear canal scatter most, would flatten the middle.
const (
	scaleLoHz = 200
	scaleHiHz = 10300 // the third octave of 10 kHz
	// Of fewer fixture seatings than this the interval of their scatter would cover
	// everything else; it stands in the table.
	seatingsForBand = 5
	cutNote         = " The scale is that of 200 Hz to 10 kHz; what lies beyond is cut off at the edge and stands in the values of this plot."
)

// sensitivityFigures draws the standard deviations per third octave.
func sensitivityFigures(r *judged.Study) []figure.Figure {
	var scatter []figure.Figure
	for _, m := range r.Analysis.Models {
		for _, s := range m.Sensitivity {
			what := m.Model + ", " + s.Ear.String() + " ear, " + s.Point.Words() + ": "
			name := string(figure.SectionSensitivity) + "-" + text.Slug(m.Model) + "-" + string(s.Point) + "-" + s.Ear.String()
			c := &figure.Curves{Hz: r.ThirdsHz, YLabel: "Standard deviation, dB", Unit: "dB", Decimals: 2}
			c.Add("reproducibility standard deviation s_R", s.ReproducibilityDB, s.PanelValid, figure.Style{})
			if s.Listeners > 0 {
				c.Add("repeatability standard deviation s_r", s.RepeatabilityDB, s.PanelValid, figure.Style{Tint: 1, Dash: 1})
			}
			addComponent(c, "between listeners", s.Between, s.PanelValid, figure.Style{Tint: 3, Dash: 2}, true)
			addComponent(c, "fixture seatings", s.Fixture, s.FixtureValid, figure.Style{Tint: 2, Dash: 5}, false)
			if n := len(c.Series); s.Fixture != nil && s.OnFixture < seatingsForBand {
				c.Series[n-1].Lower, c.Series[n-1].Upper = nil, nil
			}
			if len(c.Series) > 0 {
				scatter = append(scatter, figure.Figure{Name: name, Section: figure.SectionSensitivity, Model: m.Model, Ear: s.Ear.String(), Title: what + "standard deviations per third octave",
					Note: "Repeatability and reproducibility standard deviation (ISO 5725-2), with intervals where they are estimated alone." + cutNote, Curves: c})
			}
		}
	}
	return append(summaryFigures(r), figure.ShareWithin(scatter, scaleLoHz, scaleHiHz)...)
}

// summaryFigures sets the models side by side by their one figure.
func summaryFigures(r *judged.Study) []figure.Figure {
	d := &figure.Dots{XLabel: "Reproducibility s_R, RMS, dB", Unit: "dB", Decimals: 1}
	for _, m := range r.Analysis.Models {
		for _, s := range m.Sensitivity {
			if s.SummaryDB[0] == 0 || s.Point != capture.Blocked {
				continue
			}
			name := m.Model + ", " + s.Ear.String()
			d.Rows = append(d.Rows, figure.Dot{Name: name, Group: m.Model, Est: s.SummaryDB[0], Lower: min(s.SummaryDB[0], s.SummaryDB[1]), Upper: max(s.SummaryDB[0], s.SummaryDB[2])})
		}
	}
	for i, row := range d.Rows {
		if row.Lower == 0 && row.Upper == row.Est { // no interval
			d.Rows[i].Lower = row.Est
		}
	}
	if len(d.Rows) == 0 {
		return nil
	}
	figs := []figure.Figure{{Name: string(figure.SectionSensitivity) + "-models", Section: figure.SectionSensitivity, Title: "Models side by side: fit sensitivity",
		Note: "How far one listener putting the headphone on once is from the sample mean, with its interval. Smaller is less sensitive.", Dots: d}}
	figure.SetDotRange(figs)
	return figs
}

func addComponent(c *figure.Curves, name string, v []fitcorr.Component, valid []bool, st figure.Style, hidden bool) {
	if v == nil {
		return
	}
	s := figure.Series{Name: name, Group: name, Style: st, Hidden: hidden}
	for i := range c.Hz {
		y, lo, hi := math.NaN(), math.NaN(), math.NaN()
		if i < len(v) && (i >= len(valid) || valid[i]) {
			y, lo, hi = v[i].SD, v[i].Lower, v[i].Upper
		}
		s.Y, s.Lower, s.Upper = append(s.Y, y), append(s.Lower, lo), append(s.Upper, hi)
	}
	c.Series = append(c.Series, s)
}

// surveyFigures draws the level change per mm and per degree.
func surveyFigures(r *judged.Study) []figure.Figure {
	var out []figure.Figure
	names := [3]string{"forward, dB per mm", "up, dB per mm", "rotation, dB per degree"}
	for _, m := range r.Analysis.Models {
		for _, ear := range capture.Ears {
			s := m.Survey[ear]
			if s == nil || len(s.SlopeDB[0]) == 0 {
				continue
			}
			c := &figure.Curves{Hz: r.BandsHz, YLabel: "Level change, dB per mm or degree", Unit: "dB", Decimals: 2}
			for a, name := range names {
				line := figure.Series{Name: name, Group: name, Style: figure.Style{Tint: 1 + a, Dash: a}}
				for i := range r.BandsHz {
					y, half := math.NaN(), math.NaN()
					if i < len(s.SlopeDB[a]) && i < len(s.SlopeSE[a]) && (s.SlopeSE[a][i] > 0 || s.SlopeDB[a][i] != 0) {
						y, half = s.SlopeDB[a][i], s.SlopeHalf(fitcorr.Axis(a), i, r.Options.Confidence)
					}
					line.Y, line.Lower, line.Upper = append(line.Y, y), append(line.Lower, y-half), append(line.Upper, y+half)
				}
				c.Series = append(c.Series, line)
			}
			out = append(out, figure.Figure{Name: figureName(figure.SectionSurvey, m.Model, ear), Section: figure.SectionSurvey, Model: m.Model, Ear: ear.String(),
				Title: m.Model + ", " + ear.String() + " ear: sensitivity to position",
				Note: "Level change per mm or degree at the marked position, with the " + text.Percent(r.Options.Confidence) + " interval; " +
					text.Plural(s.Displacements, "displacement") + ", held-out error " + text.Fixed(s.HeldOutDB, 1) + " dB.",
				Curves: c})
		}
	}
	return figure.ShareByModel(out)
}
