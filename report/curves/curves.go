// Package curves lists every curve of a study as a text file of its own: per model,
// point and ear the mean of the fixture's seatings as measured, the final curve,
// both less the fixture's reference, each fixture seating as measured and corrected,
// and the mean of each listener. It estimates nothing but means over seatings.
package curves

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/stats"
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

// add adds a curve of which level gives the value and half-width per band and whether it
// counts; one without any band is no curve.
func (m *maker) add(model, name, title, about string, level func(b int) (db, half float64, ok bool)) {
	c := Curve{Title: text.OneLine(model + ", " + title), What: text.OneLine(title), About: about, Unit: string(m.r.LevelUnit), Model: model, Confidence: m.r.Options.Confidence}
	for b, f := range m.r.BandsHz {
		if db, half, ok := level(b); ok {
			c.Hz, c.DB, c.Half = append(c.Hz, f), append(c.DB, db), append(c.Half, half)
		}
	}
	if len(c.Hz) == 0 {
		return
	}
	c.Name = m.names.Next(text.Slug(model) + "-" + name)
	m.out = append(m.out, c)
}

// compensated adds a curve at the drum less the fixture's reference, when there is one.
func (m *maker) compensated(model, name, title, about string, level func(b int) (db, half float64, ok bool)) {
	m.add(model, name+"-compensated", title+", less the fixture's reference", about, func(b int) (float64, float64, bool) {
		if b >= len(m.r.ReferenceDB) {
			return 0, 0, false
		}
		db, half, ok := level(b)
		return db - m.r.ReferenceDB[b], half, ok
	})
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

// fixture adds the curves of one model at one point and ear of the fixture.
func (m *maker) fixture(a fitcorr.ModelAnalysis, point capture.Point, ear capture.Ear) {
	place, words := string(point)+"-"+ear.String(), fmt.Sprintf("%s point, %s ear", point, ear)
	add := func(name, title, about string, level func(b int) (float64, float64, bool)) {
		m.add(a.Model, place+"-"+name, title, about, level)
		if point == capture.Drum {
			m.compensated(a.Model, place+"-"+name, title, about, level)
		}
	}
	var raw []fitcorr.Curve
	for _, rec := range m.r.Recordings {
		if rec.Model == a.Model && rec.Point == point && rec.OrdinaryOnFixture() && rec.Usable {
			raw = append(raw, rec.Ears[ear])
		}
	}
	if len(raw) > 0 {
		level, about := m.mean(raw)
		add("raw", fmt.Sprintf("fixture, %s: mean of %s as measured", words, text.Plural(len(raw), "seating")), about, level)
	}
	for _, f := range a.Curves {
		if f.Point == point && f.Ear == ear {
			add("final", "fixture, "+f.MadeOf(), "from the uncertainty budget", func(b int) (float64, float64, bool) {
				if b >= len(f.Valid) || !f.Valid[b] || b >= len(f.HalfDB) {
					return 0, 0, false
				}
				return f.LevelDB[b], f.HalfDB[b], true
			})
		}
	}
	m.seatings(a, point, ear, add)
}

// seatings adds each ordinary fixture seating as measured, and corrected where it was.
func (m *maker) seatings(a fitcorr.ModelAnalysis, point capture.Point, ear capture.Ear, add func(name, title, about string, level func(b int) (float64, float64, bool))) {
	k := m.factor(0)
	for _, rec := range m.r.Recordings {
		if rec.Model != a.Model || rec.Point != point || !rec.OrdinaryOnFixture() || !rec.Usable {
			continue
		}
		c := rec.Ears[ear]
		name, words := fmt.Sprintf("seating-%03d", rec.Number), fmt.Sprintf("fixture, %s point, %s ear, seating %d", point, ear, rec.Number)
		add(name+"-raw", words+" as measured", "noise of this recording alone", func(b int) (float64, float64, bool) {
			if !c.Counts(b) {
				return 0, 0, false
			}
			return c.LevelDB[b], k * c.StdErrDB[b], true
		})
		for _, corr := range a.Corrections {
			if corr.ID != rec.File || corr.Ear != ear || !hasAny(corr.Applied) {
				continue
			}
			add(name+"-corrected", words+" corrected to the worn mean", "noise of this recording and what is left after the correction", func(b int) (float64, float64, bool) {
				if !c.Counts(b) || b >= len(corr.DeltaDB) {
					return 0, 0, false
				}
				return c.LevelDB[b] + corr.DeltaDB[b], k * math.Hypot(c.StdErrDB[b], corr.StdErrDB[b]), true
			})
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
		level, about := m.mean(by[who])
		m.add(model, text.Slug(who)+"-blocked-"+ear.String(), fmt.Sprintf("listener %s, blocked point, %s ear: mean of %s", who, ear, text.Plural(len(by[who]), "seating")), about, level)
	}
}

// mean is that of seatings, in dB, with Student's interval of it: where two or more
// count in a band, and all that are more than half. Of one seating alone the interval
// is its noise.
func (m *maker) mean(of []fitcorr.Curve) (level func(b int) (float64, float64, bool), about string) {
	if len(of) == 1 {
		k := m.factor(0)
		return func(b int) (float64, float64, bool) {
			if !of[0].Counts(b) {
				return 0, 0, false
			}
			return of[0].LevelDB[b], k * of[0].StdErrDB[b], true
		}, "noise of the one recording alone"
	}
	factors := make([]float64, len(of)+1)
	for n := 2; n <= len(of); n++ {
		factors[n] = m.factor(float64(n-1)) / math.Sqrt(float64(n))
	}
	return func(b int) (float64, float64, bool) {
		var x []float64
		for _, c := range of {
			if c.Counts(b) {
				x = append(x, c.LevelDB[b])
			}
		}
		if len(x) < 2 || 2*len(x) < len(of) {
			return 0, 0, false
		}
		mean, sd := stats.MeanSD(x)
		return mean, factors[len(x)] * sd, true
	}, "Student's t of the mean over the seatings"
}

// factor is the coverage factor for df degrees of freedom, 0 for many.
func (m *maker) factor(df float64) float64 { return stats.Coverage(m.r.Options.Confidence, df) }

func hasAny(v []bool) bool {
	for _, x := range v {
		if x {
			return true
		}
	}
	return false
}
