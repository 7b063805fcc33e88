package compare

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/capture/samples"
	"asworn/capture/study"
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
}

// panelOf gathers a study's groups, in the order of the sheet.
func panelOf(rows []study.Seating, recs []Traits) []group {
	headphone := func(r study.Seating) string {
		return fmt.Sprintf("%q %q %q %q %s", r.Model, r.Unit, r.Subject, r.Loudspeaker, r.Point)
	}
	var out []group
	for _, m := range groupsOf(rows, recs, func(r study.Seating) string { return fmt.Sprintf("%s %v", headphone(r), kindOf(r)) }) {
		r := rows[m[0]]
		g := group{name: r.Model + " on " + r.Subject, kind: kindOf(r), members: m}
		if r.Model != "" {
			g.moves = [2][][]float64{leaks(), leaks()}
		}
		switch {
		case r.Model == "":
			g.name = "the bare ear of " + r.Subject
		case g.kind.displaced:
			g.name = "the survey of " + g.name
		}
		if g.kind.displaced {
			if len(m) < surveyLeast {
				continue
			}
			g.surface = surfaceOf(rows, recs, m)
		}
		out = append(out, g)
	}
	for i, g := range out {
		if !g.kind.fixture || g.kind.displaced {
			continue
		}
		for _, s := range out {
			if s.kind.displaced && headphone(rows[s.members[0]]) == headphone(rows[g.members[0]]) {
				for e, m := range s.surface.moves() {
					out[i].moves[e] = append(out[i].moves[e], m...)
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
func (g group) about(rows []study.Seating, recs []Traits, e study.Ear, i int) (o opinion, ok bool) {
	switch {
	case g.kind.displaced && !rows[i].Displaced():
		return o, false
	case g.kind.displaced:
		o.want, o.spread = g.surface.at(*rows[i].Survey, e, i)
	default:
		o.want = make([]float64, band.Thirds)
		at := make([]float64, 0, len(g.members))
		for b := range o.want {
			at = at[:0]
			for _, j := range g.members {
				if v := recs[j].LevelDB[e][b]; i != j && !math.IsNaN(v) {
					at = append(at, v)
				}
			}
			o.want[b] = samples.Median(at)
		}
		others := len(g.members)
		if slices.Contains(g.members, i) {
			others--
		}
		o.spread = 1 + math.Pi/2/float64(max(1, others)) // variance of a median over that of a value
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

// Limits of the surface of a survey. Common practice, no source.
const (
	surveyLeast  = 6     // displacements that make a survey
	leakToHz     = 630   // up to which a deliberate leak may reach
	slopeSD      = 0.7   // dB per mm, what is thought of the slopes before any was seen
	bendSD       = 0.15  // dB per mm²
	turnSD       = 0.3   // dB per degree
	levelSD      = 100.0 // dB, of the level itself
	scatterSD    = 0.7   // dB, of a recording about the surface
	usualLeakDB  = 10.0  // well below the corner
	usualMoveMM  = 4.0   // of a headphone that is placed normally
	surveyOddity = 2.0   // scatter over the usual from which a row of a survey counts less
)

// surface is a second-order polynomial in the displacement, per ear and third
// octave: least squares with normal priors on the coefficients.
type surface struct {
	members []int
	design  [][]float64
	levels  [2][][]float64 // of the members, NaN where they do not count
	weight  []float64      // of the members: one that fits the others badly counts less
	whole   [2]fit         // to all members
}

const terms = 7

func designOf(d study.Displacement) []float64 {
	f, u := d.ForwardMM, d.UpMM
	return []float64{1, f, u, f * f, u * u, f * u, d.RotationDeg}
}

func surfaceOf(rows []study.Seating, recs []Traits, members []int) surface {
	s := surface{members: members}
	for _, i := range members {
		s.design = append(s.design, designOf(*rows[i].Survey))
		s.weight = append(s.weight, 1)
		for e := range study.Ears {
			l := recs[i].LevelDB[e]
			if rows[i].Seal != "" {
				l = append([]float64(nil), l...)
				for _, b := range thirds(0, leakToHz) {
					l[b] = math.NaN()
				}
			}
			s.levels[e] = append(s.levels[e], l)
		}
	}
	odd := make([]float64, len(members))
	for k, i := range members {
		var square []float64
		for e := range study.Ears {
			at, _ := s.at(*rows[i].Survey, study.Ear(e), i)
			for _, b := range thirds(shapeFromHz, shapeToHz) {
				if v := s.levels[e][k][b] - at[b]; !math.IsNaN(v) {
					square = append(square, v*v)
				}
			}
		}
		odd[k] = math.Sqrt(mean(square))
	}
	usual := samples.Median(over(odd, every(len(odd))))
	for k, o := range odd {
		if o > surveyOddity*usual {
			s.weight[k] = math.Pow(surveyOddity*usual/o, 4)
		}
	}
	for e := range s.whole {
		s.whole[e] = s.fit(study.Ear(e), -1)
	}
	return s
}

// fit is the surface of one ear.
type fit struct {
	terms [][]float64  // coefficients per third octave; nil where too few recordings count
	chol  mat.Cholesky // of the normal matrix of the last third
}

// fit leaves recording but out.
func (s surface) fit(e study.Ear, but int) (f fit) {
	f.terms = make([][]float64, band.Thirds)
	prior := [terms]float64{levelSD, slopeSD, slopeSD, bendSD, bendSD, bendSD, turnSD}
	var before []bool // which recordings the normal matrix is of
	for b := range f.terms {
		right, n := mat.NewVecDense(terms, nil), 0
		use := make([]bool, len(s.design))
		for k, x := range s.design {
			y := s.levels[e][k][b]
			if use[k] = s.members[k] != but && !math.IsNaN(y); use[k] {
				n++
				for p, v := range x {
					right.SetVec(p, right.AtVec(p)+s.weight[k]*v*y)
				}
			}
		}
		if n < groupLeast {
			continue
		}
		if !slices.Equal(use, before) {
			normal := mat.NewSymDense(terms, nil)
			for k, x := range s.design {
				if use[k] {
					normal.SymRankOne(normal, s.weight[k], mat.NewVecDense(terms, x))
				}
			}
			for p, sd := range prior {
				normal.SetSym(p, p, normal.At(p, p)+scatterSD*scatterSD/(sd*sd))
			}
			if !f.chol.Factorize(normal) {
				continue
			}
			before = use
		}
		var c mat.VecDense
		if f.chol.SolveVecTo(&c, right) == nil {
			f.terms[b] = c.RawVector().Data
		}
	}
	return f
}

// at is what the survey says of a displacement, without recording but, and the
// variance of a recording about that over its variance about the true surface.
func (s surface) at(d study.Displacement, e study.Ear, but int) (levels []float64, spread float64) {
	f := s.whole[e]
	if f.terms == nil || slices.Contains(s.members, but) {
		f = s.fit(e, but)
	}
	levels = make([]float64, band.Thirds)
	x := designOf(d)
	for b := range levels {
		if f.terms[b] == nil {
			levels[b] = math.NaN()
			continue
		}
		for p, v := range f.terms[b] {
			levels[b] += v * x[p]
		}
	}
	spread = 1
	if v := mat.NewVecDense(terms, x); f.chol.SymmetricDim() == terms {
		spread += quadratic(&f.chol, v, v)
	}
	return levels, spread
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

// moves are the changes of level along and across, and their bends.
func (s surface) moves() (out [2][][]float64) {
	for e, f := range s.whole {
		for p, size := range [terms]float64{0, usualMoveMM, usualMoveMM, usualMoveMM * usualMoveMM, usualMoveMM * usualMoveMM, usualMoveMM * usualMoveMM, 0} {
			if size == 0 {
				continue
			}
			m := make([]float64, band.Thirds)
			for b := range m {
				if f.terms[b] != nil {
					m[b] = size * f.terms[b][p]
				}
			}
			out[e] = append(out[e], m)
		}
	}
	return out
}

// thirds returns the third-octave bands from lo to hi.
func thirds(lo, hi float64) (out []int) {
	for i, b := range band.AllThirds() {
		if b.Mid >= lo*0.99 && b.Mid <= hi*1.01 {
			out = append(out, i)
		}
	}
	return out
}

func every(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// over returns the finite values of x at some places.
func over(x []float64, at []int) (out []float64) {
	for _, i := range at {
		if !math.IsNaN(x[i]) {
			out = append(out, x[i])
		}
	}
	return out
}

// mean is NaN of nothing.
func mean(x []float64) float64 { return samples.Sum(x) / float64(len(x)) }
