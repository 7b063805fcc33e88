package compare

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"asworn/capture/band"
	"asworn/capture/order"
	"asworn/capture/study"
	"asworn/capture/workers"
)

// kind tells seatings apart that scatter by different laws.
type kind struct{ fixture, bare, displaced bool }

func kindOf(r study.Seating) kind {
	return kind{fixture: r.OnFixture(), bare: r.Model == "", displaced: r.Displaced()}
}

// group is the usable recordings of one headphone on one subject at one point,
// placed normally or displaced on purpose.
type group struct {
	name    string
	kind    kind
	members []int
	// surface is how the levels of a survey go with the displacement.
	surface surface
	// moves are changes of level that are no fault, each times its usual size, per
	// ear: leaks, and on a fixture that was surveyed displacements.
	moves [2][][]float64
	all   [2]func() opinion // per ear: of all members, placed normally, about any other recording
}

// panelOf gathers a study's groups, in the order of the sheet.
func panelOf(rows []study.Seating, recs []Traits, jobs int) []*group {
	headphone := func(r study.Seating) string {
		return fmt.Sprintf("%q %q %q %q %s", r.Model, r.Unit, r.Subject, r.Loudspeaker, r.Point)
	}
	var out []*group
	for _, m := range groupsOf(rows, recs, func(r study.Seating) string { return fmt.Sprintf("%s %v", headphone(r), kindOf(r)) }) {
		r := rows[m[0]]
		g := &group{name: r.Model + " on " + r.Subject, kind: kindOf(r), members: m}
		for e := range study.Ears {
			g.all[e] = sync.OnceValue(func() opinion { return g.median(recs, study.Ear(e), -1) })
		}
		if r.Model != "" {
			g.moves = [2][][]float64{leaks(), leaks()}
		}
		switch {
		case r.Model == "":
			g.name = "the bare ear of " + r.Subject
		case g.kind.displaced:
			g.name = "the survey of " + g.name
		}
		if g.kind.displaced && len(m) < surveyLeast {
			continue
		}
		out = append(out, g)
	}
	_ = workers.All(context.Background(), len(out), jobs, func(k int) { // ends with its work alone
		if g := out[k]; g.kind.displaced {
			g.surface = surfaceOf(rows, recs, g.members)
		}
	})
	for _, g := range out {
		if !g.kind.fixture || g.kind.displaced {
			continue
		}
		for _, s := range out {
			if s.kind.displaced && headphone(rows[s.members[0]]) == headphone(rows[g.members[0]]) {
				for e, m := range s.surface.moves() {
					g.moves[e] = append(g.moves[e], m...)
				}
			}
		}
	}
	return out
}

// opinion is what the others of a group say about one ear of a recording.
type opinion struct {
	want []float64 // levels, dB per third octave; NaN where none of them counts
	d    []float64 // the recording's less these; NaN also where nothing is expected
	// spread is the variance of d over that of a recording about its group: the
	// others are few.
	spread float64
}

// about is not ok where nothing can be said.
func (g *group) about(rows []study.Seating, recs []Traits, e study.Ear, i int) (o opinion, ok bool) {
	switch {
	case g.kind.displaced && !rows[i].Displaced():
		return o, false
	case g.kind.displaced:
		o.want, o.spread = g.surface.at(*rows[i].Survey, e, i)
	case slices.Contains(g.members, i):
		o = g.median(recs, e, i)
	default:
		o = g.all[e]()
	}
	o.d = make([]float64, band.Thirds)
	for b, v := range recs[i].LevelDB[e] {
		o.d[b] = v - o.want[b]
	}
	if rows[i].Displaced() && rows[i].Seal != "" {
		for _, b := range thirds(0, leakToHz) {
			o.d[b] = math.NaN()
		}
	}
	return o, true
}

// median is the opinion of the members but one, of any recording.
func (g *group) median(recs []Traits, e study.Ear, but int) opinion {
	o := opinion{want: make([]float64, band.Thirds)}
	at := make([]float64, 0, len(g.members))
	for b := range o.want {
		at = at[:0]
		for _, j := range g.members {
			if v := recs[j].LevelDB[e][b]; j != but && !math.IsNaN(v) {
				at = append(at, v)
			}
		}
		o.want[b] = order.Median(at)
	}
	others := len(g.members)
	if but >= 0 {
		others--
	}
	o.spread = 1 + math.Pi/2/float64(max(1, others)) // variance of a median over that of a value
	return o
}

// leaks are what leaks of two sizes make of the levels.
func leaks() (out [][]float64) {
	for _, corner := range []float64{100, 300} {
		m := make([]float64, band.Thirds)
		for i, b := range band.AllThirds() {
			m[i] = -usualLeakDB / (1 + math.Pow(b.Mid/corner, 2))
		}
		out = append(out, m)
	}
	return out
}
