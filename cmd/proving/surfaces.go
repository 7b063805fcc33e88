package main

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

// What listeners who wore earlier models displaced on purpose could tell of a new one.
// All conditions draw the same study: the new model first, then the earlier ones, everybody
// displaced on all of them. They differ by which of its rows are analysed.
type surfaces struct {
	models    int  // earlier ones that are analysed with the new one, in one study
	displaced bool // with the rows of their displaced listeners
	own       bool // with those of the new model
	// foretold says that the new model's displaced rows are made: in the real ones what the
	// listener's ear does otherwise than the fixture's is replaced by what it does so on alike earlier
	// models, without any error. With none of them everybody's ear moves the level as the
	// fixture's does: what such rows do to the estimate without telling anything.
	foretold bool
	alike    int
}

const (
	mostEarlier = 3
	noSurfaces  = "surfaces-0" // the condition that the others are held against
)

func surfaceConditions() []surfaces {
	out := []surfaces{{}, {foretold: true}}
	for _, n := range []int{1, mostEarlier} {
		out = append(out, surfaces{models: n}, surfaces{models: n, displaced: true}, surfaces{foretold: true, alike: n})
	}
	return append(out, surfaces{own: true})
}

func (c surfaces) name() string {
	switch {
	case c.own:
		return "surfaces-own"
	case c.foretold:
		return fmt.Sprintf("surfaces-alike-%d", c.alike)
	case c.displaced:
		return fmt.Sprintf("surfaces-displaced-%d", c.models)
	case c.models > 0:
		return fmt.Sprintf("surfaces-models-%d", c.models)
	}
	return noSurfaces
}

func (c surfaces) what() string {
	switch {
	case c.own:
		return "a new closed model, all listeners displaced on it"
	case c.foretold && c.alike == 0:
		return "a new closed model, everybody displaced on it as if all ears moved the level as the fixture's does"
	case c.foretold:
		return fmt.Sprintf("a new closed model, how ears move it otherwise than the fixture's ear taken from %d earlier models without error", c.alike)
	case c.displaced:
		return fmt.Sprintf("a new closed model and %d earlier ones in one study, all listeners displaced on those", c.models)
	case c.models > 0:
		return fmt.Sprintf("a new closed model and %d earlier ones in one study, nobody displaced", c.models)
	}
	return "a new closed model, nobody displaced"
}

// take is what of the drawn study is analysed; only the new model is left in s to be judged.
func (c surfaces) take(s *simulate.Study, ss []fitcorr.Seating) (taken []fitcorr.Seating, alike float64) {
	var made map[string][2][]float64
	if c.foretold {
		made, alike = levelsAlike(s, ss, c.alike)
	}
	for i, r := range s.Rows {
		of := ss[i]
		switch people := r.Displaced() && !r.OnFixture(); {
		case r.ModelIndex > c.models:
			continue
		case toForetell(r) && c.foretold:
			for e, level := range made[r.File] {
				of.Ears[e].LevelDB = level
			}
		case toForetell(r) && !c.own, people && r.ModelIndex > 0 && !c.displaced:
			continue
		}
		taken = append(taken, of)
	}
	s.Models = s.Models[:1]
	s.Rows = slices.DeleteFunc(s.Rows, func(r simulate.Row) bool { return r.ModelIndex > 0 })
	return taken, alike
}

// levelsAlike returns the levels of the new model's displaced rows, per file and ear, as
// surfaces.alike makes them of n earlier models. What the ears have in common under all models
// enters with the share that predicts the new model best in this very study, which nobody could
// know; corr is how well it does, a correlation over listeners, ears, displacements and bands.
func levelsAlike(s *simulate.Study, ss []fitcorr.Seating, n int) (levels map[string][2][]float64, corr float64) {
	w := newWear(s)
	own, common := map[string][2][]float64{}, map[string][2][]float64{} // by file: under the new model, the mean over the others
	var cross, mine, theirs float64
	for _, r := range s.Rows {
		if !toForetell(r) {
			continue
		}
		var new, others [2][]float64
		for e, ear := range capture.Ears {
			new[e], others[e] = w.otherwise(r, 0, ear), make([]float64, band.Count)
			for m := 1; m <= n; m++ {
				for b, v := range w.otherwise(r, m, ear) {
					others[e][b] += v / float64(n)
				}
			}
			for b, v := range new[e] {
				if tellsPosition(b) {
					cross, mine, theirs = cross+v*others[e][b], mine+v*v, theirs+others[e][b]*others[e][b]
				}
			}
		}
		own[r.File], common[r.File] = new, others
	}
	var share float64
	if theirs > 0 {
		share, corr = math.Max(0, cross/theirs), cross/math.Sqrt(mine*theirs)
	}
	levels = map[string][2][]float64{}
	for i, r := range s.Rows {
		if !toForetell(r) {
			continue
		}
		var out [2][]float64
		for e := range out {
			out[e] = minus(ss[i].Ears[e].LevelDB, own[r.File][e])
			for b, v := range common[r.File][e] {
				out[e][b] += share * v
			}
		}
		levels[r.File] = out
	}
	return levels, corr
}

// wear is where the listeners of a study wear its models, and what that sounds like.
type wear struct {
	study *simulate.Study
	grid  *simulate.BandGrid
	rows  map[[2]int][]simulate.Row // nobody displaced, by model and listener
}

func newWear(s *simulate.Study) wear {
	w := wear{s, simulate.NewBandGrid(), map[[2]int][]simulate.Row{}}
	for _, r := range s.Rows {
		if r.ModelIndex >= 0 && r.Worn() {
			at := [2]int{r.ModelIndex, r.SubjectIndex}
			w.rows[at] = append(w.rows[at], r)
		}
	}
	return w
}

// moved is how the level of a subject's ear moves with a displacement from where the
// listener usually wears model m, dB per band, without its mean over the bands that tell positions.
func (w wear) moved(m, subject, listener int, e capture.Ear, by capture.Displacement) []float64 {
	row := simulate.Row{ModelIndex: m, SubjectIndex: subject}
	row.Point = capture.Blocked
	at := &row.True[e]
	rows := w.rows[[2]int{m, listener}]
	for _, r := range rows {
		p := r.True[e]
		at.ForwardMM += p.ForwardMM / float64(len(rows))
		at.UpMM += p.UpMM / float64(len(rows))
		at.RotationDeg += p.RotationDeg / float64(len(rows))
	}
	here := w.grid.LevelDB(w.study.Pressure(row, e, &w.grid.Grid))
	at.ForwardMM += by.ForwardMM
	at.UpMM += by.UpMM
	at.RotationDeg += by.RotationDeg
	return withoutMean(minus(w.grid.LevelDB(w.study.Pressure(row, e, &w.grid.Grid)), here))
}

// otherwise is how the ear of a displaced row's listener moves the level of model m, less how the fixture's does.
func (w wear) otherwise(r simulate.Row, m int, e capture.Ear) []float64 {
	return minus(w.moved(m, r.SubjectIndex, r.SubjectIndex, e, *r.Survey), w.moved(m, w.study.Design.Listeners, r.SubjectIndex, e, *r.Survey))
}

// toForetell reports whether a row is of a listener displaced on the new model.
func toForetell(r simulate.Row) bool { return r.ModelIndex == 0 && r.Displaced() && !r.OnFixture() }

// tellsPosition reports whether a band is among those by which positions are told.
func tellsPosition(b int) bool { f := band.All()[b].Mid; return f >= 300 && f <= 16000 }

func withoutMean(v []float64) []float64 {
	var sum, n float64
	for b, x := range v {
		if tellsPosition(b) {
			sum, n = sum+x, n+1
		}
	}
	for b := range v {
		v[b] -= sum / n
	}
	return v
}
