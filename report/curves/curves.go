// Package curves lists every curve of a study as a text file of its own: per model,
// point and ear the mean of the fixture's seatings as measured, the final curve,
// both less the fixture's reference, each fixture seating as measured and corrected,
// and the mean of each listener. It estimates nothing.
package curves

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seat"
	"asworn/report/judged"
	"asworn/report/text"
)

// Curve is one curve. Lists are as long as each other; bands that do not count are
// left out.
type Curve struct {
	Name  string // of the file, without folder and ".csv"
	Title string // what it is
	What  string // the same without the model
	About string // what its interval holds
	Unit  string // of the levels
	Model string
	Hz    []float64
	// DB is the level, Half the half-width of its interval at Confidence, both in dB.
	DB, Half   []float64
	Confidence float64
}

// Write writes the curve as text: lines of what it is behind "#", a head, and per band the
// mid-band frequency (Hz), the level and the limits of its interval (dB), separated by
// commas, with two digits of the half-width (JCGM 100:2008, 7.2.6) and at least one
// decimal.
func (c Curve) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "# %s\n# level: %s; limits: %s interval, %s\n", c.Title, c.Unit, text.Percent(c.Confidence), c.About)
	fmt.Fprintln(b, "frequency_hz,level_db,lower_db,upper_db")
	for i, f := range c.Hz {
		d := 2
		if c.Half[i] > 0 {
			d = max(1, min(3, 1-int(math.Floor(math.Log10(c.Half[i])))))
		}
		fmt.Fprintf(b, "%s,%s,%s,%s\n", strconv.FormatFloat(f, 'g', 6, 64), fixed(c.DB[i], d), fixed(c.DB[i]-c.Half[i], d), fixed(c.DB[i]+c.Half[i], d))
	}
	return b.Flush()
}

func fixed(v float64, d int) string { return strconv.FormatFloat(v, 'f', d, 64) }

// maker gathers curves under names that are told apart.
type maker struct {
	r     *judged.Study
	names text.Names
	out   []Curve
}

// add adds a curve; one without any band is no curve.
func (m *maker) add(model, name, title, about string, level seat.Level) {
	c := Curve{Title: text.OneLine(model + ", " + title), What: text.OneLine(title), About: about, Unit: string(m.r.LevelUnit), Model: model, Confidence: m.r.Options.Confidence}
	if c.take(m.r.BandsHz, level) {
		c.Name = m.names.Next(text.Slug(model) + "-" + name)
		m.out = append(m.out, c)
	}
}

// take fills in the bands that count; it reports whether there are any.
func (c *Curve) take(hz []float64, level seat.Level) bool {
	for b, f := range hz {
		if b < len(level.DB) && level.Valid[b] {
			c.Hz, c.DB, c.Half = append(c.Hz, f), append(c.DB, level.DB[b]), append(c.Half, level.Half[b])
		}
	}
	return len(c.Hz) > 0
}

// Of returns the curves of a study, model by model.
func Of(r *judged.Study) []Curve {
	m := &maker{r: r, names: text.Names{}}
	for _, a := range r.Analysis.Models {
		for _, point := range []capture.Point{capture.Blocked, capture.Drum} {
			for _, ear := range capture.Ears {
				m.fixture(a, point, ear)
			}
		}
		for _, ear := range capture.Ears {
			m.listeners(a.Model, ear)
		}
	}
	return m.out
}

// fixture adds the curves of one model at one point and ear of the fixture, at the drum
// also less the fixture's reference, when there is one.
func (m *maker) fixture(a fitcorr.ModelAnalysis, point capture.Point, ear capture.Ear) {
	place, words := string(point)+"-"+ear.String(), fmt.Sprintf("%s, %s ear", point.Words(), ear)
	add := func(name, title, about string, level seat.Level) {
		m.add(a.Model, place+"-"+name, title, about, level)
		if point == capture.Drum {
			m.add(a.Model, place+"-"+name+"-compensated", title+", less the fixture's reference", about, level.Less(m.r.ReferenceDB))
		}
	}
	confidence := m.r.Options.Confidence
	recordings := m.r.Ordinary(a.Model, point, false)
	var raw []fitcorr.Curve
	for _, rec := range recordings {
		raw = append(raw, rec.Ears[ear])
	}
	add("raw", fmt.Sprintf("fixture, %s: mean of %s as measured", words, text.Plural(len(raw), "seating")), aboutMean(len(raw)), seat.MeanLevel(raw, confidence))
	for _, f := range a.Curves {
		if f.Point == point && f.Ear == ear {
			add("final", "fixture, "+f.MadeOf(), "from the uncertainty budget", f.Level())
		}
	}
	for i, rec := range recordings {
		name, words := fmt.Sprintf("seating-%03d", rec.Number), fmt.Sprintf("fixture, %s, seating %d", words, rec.Number)
		add(name+"-raw", words+" as measured", "noise of this recording alone", raw[i].Level(confidence))
		for _, corr := range a.Corrections {
			if corr.ID == rec.File && corr.Ear == ear && slices.Contains(corr.Applied, true) {
				add(name+"-corrected", words+" corrected to the worn mean", "noise of this recording and what is left after the correction", corr.Level(raw[i], confidence))
			}
		}
	}
}

// listeners adds the mean of each listener's ordinary seatings of a model.
func (m *maker) listeners(model string, ear capture.Ear) {
	by := map[string][]fitcorr.Curve{}
	var order []string
	for _, rec := range m.r.Recordings {
		if rec.Model != model || !rec.Worn() || !rec.Usable {
			continue
		}
		if by[rec.Subject] == nil {
			order = append(order, rec.Subject)
		}
		by[rec.Subject] = append(by[rec.Subject], rec.Ears[ear])
	}
	for _, who := range order {
		m.add(model, text.Slug(who)+"-blocked-"+ear.String(), fmt.Sprintf("listener %s, %s, %s ear: mean of %s", who, capture.Blocked.Words(), ear, text.Plural(len(by[who]), "seating")),
			aboutMean(len(by[who])), seat.MeanLevel(by[who], m.r.Options.Confidence))
	}
}

// aboutMean says what the interval of a mean of n seatings holds (seat.MeanLevel).
func aboutMean(n int) string {
	if n == 1 {
		return "noise of the one recording alone"
	}
	return "Student's t of the mean over the seatings"
}
