package panel

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/displaced"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// newPanel gathers everybody's worn seatings of the models that have a survey.
func newPanel(setups []*position.Model, bareRows []seat.Seating, stated capture.ReadingUncertainty) *panel {
	p := &panel{Layout: effects.Layout{Bands: survey.NewBands()}, stated: stated}
	byName := map[string]*listener{}
	get := func(subject string) *listener {
		l, ok := byName[subject]
		if !ok {
			l = &listener{subject: subject}
			byName[subject] = l
			p.listeners = append(p.listeners, l)
		}
		return l
	}
	for _, su := range setups {
		m := len(p.models)
		used := false
		for i, s := range su.Seatings {
			if !s.Worn() {
				continue
			}
			o := placing.Observe(s, &su.Ears)
			if !o.Present[0] && !o.Present[1] {
				continue
			}
			l := get(s.Subject)
			w := wornSeating{model: m, id: i, obs: o, read: su.Mark.ReadOf(s), worth: s.Readings()}
			l.worn = append(l.worn, w)
			used = true
			if w.read != nil {
				p.Read, p.stated.OneMM = true, su.Mark.One
			}
		}
		if used {
			p.models = append(p.models, &panelModel{setup: su, ears: su.Ears, mark: su.Mark})
			p.Layout.Models++
			p.addDisplaced(m, su)
		}
	}
	if len(p.models) == 0 {
		return p
	}
	p.addBare(bareRows, byName)
	p.poolNoise()
	for _, l := range p.listeners {
		for i := range l.bare {
			l.bare[i].weigh()
		}
	}
	p.reading = p.stated
	return p
}

// poolNoise gives all worn seatings of a model, and all bare ears, the mean
// noise variance of their bands. Noise is the least of the variances, and
// listeners with the same rows get the same matrices.
func (p *panel) poolNoise() {
	pool := func(each func(visit func(v []float64))) {
		sum, count := make([]float64, p.Bands.N), make([]float64, p.Bands.N)
		each(func(v []float64) {
			for r, x := range v {
				if x < survey.MissingVar {
					sum[r] += x
					count[r]++
				}
			}
		})
		each(func(v []float64) {
			for r, x := range v {
				if x < survey.MissingVar {
					v[r] = sum[r] / count[r]
				}
			}
		})
	}
	for e := range 2 {
		for m := range p.models {
			pool(func(visit func([]float64)) {
				for _, l := range p.listeners {
					for i := range l.worn {
						if l.worn[i].model == m {
							visit(l.worn[i].obs.Variance[e])
						}
					}
				}
			})
		}
		for place := range p.Bare {
			pool(func(visit func([]float64)) {
				for _, l := range p.listeners {
					for i := range l.bare {
						if l.bare[i].place == place {
							visit(l.bare[i].variance[e])
						}
					}
				}
			})
		}
	}
}

// addBare gives each listener the bare-ear differences from the fixture's mean with
// the loudspeaker in the same place.
func (p *panel) addBare(rows []seat.Seating, byName map[string]*listener) {
	var places []string
	byPlace := map[string][]seat.Seating{}
	for _, s := range rows {
		if byPlace[s.Loudspeaker] == nil {
			places = append(places, s.Loudspeaker)
		}
		byPlace[s.Loudspeaker] = append(byPlace[s.Loudspeaker], s)
	}
	for _, place := range places {
		if p.addBarePlace(byPlace[place], byName) {
			p.Bare++
		} else {
			p.notes = append(p.notes, unusedBare(place))
		}
	}
}

// weigh sets the inverse covariance of a reference, whose noise is pooled.
func (b *bareReference) weigh() {
	for e, variance := range b.variance {
		n := len(variance)
		cov := mat.NewDense(n, n, nil)
		for i, v := range variance {
			floats.AddConst(placing.GainSD*placing.GainSD, cov.RawRowView(i))
			cov.Set(i, i, cov.At(i, i)+bareFloorDB*bareFloorDB+v)
		}
		if _, ok := stats.Invert(cov); ok && b.present[e] {
			b.inner[e] = cov
		}
	}
}

// samePrecision reports whether two references weigh alike.
func (b bareReference) samePrecision(c bareReference) bool {
	same := b.place == c.place && b.present == c.present
	for e := range 2 {
		same = same && slices.Equal(b.variance[e], c.variance[e])
	}
	return same
}

// unusedBare says that the bare-ear references with the loudspeaker in a place are
// not used.
func unusedBare(place string) string {
	where := ""
	if place != "" {
		where = fmt.Sprintf(" with the loudspeaker at %q", place)
	}
	return "bare-ear references" + where + " are not used: they need one of the fixture and one of a listener who wore a model, with the loudspeaker in the same place; record the one that lacks"
}

// addBarePlace is addBare for the rows of one place; it reports whether any is used.
func (p *panel) addBarePlace(rows []seat.Seating, byName map[string]*listener) (used bool) {
	var ref, refVar, refCount [2][]float64
	for e := range 2 {
		ref[e], refVar[e], refCount[e] = make([]float64, p.Bands.N), make([]float64, p.Bands.N), make([]float64, p.Bands.N)
	}
	for _, s := range rows {
		if !s.OnFixture() {
			continue
		}
		for e := range 2 {
			lv, va := p.Bands.Join(s.Ears[e], nil)
			for r := range lv {
				if va[r] < survey.MissingVar {
					ref[e][r] += lv[r]
					refVar[e][r] += va[r]
					refCount[e][r]++
				}
			}
		}
	}
	for _, s := range rows {
		l := byName[s.Subject]
		if l == nil {
			continue
		}
		b := bareReference{place: p.Bare}
		for e := range 2 {
			lv, va := p.Bands.Join(s.Ears[e], nil)
			n := 0
			for r := range lv {
				c := refCount[e][r]
				if va[r] >= survey.MissingVar || c == 0 {
					lv[r], va[r] = 0, survey.MissingVar
					continue
				}
				lv[r] -= ref[e][r] / c
				va[r] += refVar[e][r] / (c * c)
				n++
			}
			b.level[e], b.variance[e] = lv, va
			b.present[e] = 3*n >= p.Bands.N
		}
		if b.present[0] || b.present[1] {
			l.bare = append(l.bare, b)
			used = true
		}
	}
	return used
}

// addDisplaced gathers the displaced seatings of one model.
func (p *panel) addDisplaced(m int, su *position.Model) {
	type rows struct {
		d [][3]float64
		y [2][][]float64
		n int // displaced
	}
	by := map[string]*rows{}
	var order []string
	for _, s := range su.Seatings {
		if s.OnFixture() || s.Seal != "" {
			continue
		}
		o := placing.Observe(s, &su.Ears)
		if !o.Present[0] && !o.Present[1] {
			continue
		}
		r := by[s.Subject]
		if r == nil {
			r = &rows{}
			by[s.Subject] = r
			order = append(order, s.Subject)
		}
		var d [3]float64
		if s.Displaced() {
			d = s.Survey.Vector()
			r.n++
		}
		r.d = append(r.d, d)
		for e := range 2 {
			var y []float64
			if o.Present[e] {
				y = p.Bands.WithoutLevel(o.Level[e], o.Variance[e])
			}
			r.y[e] = append(r.y[e], y)
		}
	}
	for _, who := range order {
		r := by[who]
		if r.n < 2 {
			continue
		}
		p.models[m].displaced = append(p.models[m].displaced, displaced.Of(r.d, r.y))
	}
}
