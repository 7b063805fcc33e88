package compare

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
)

// The law of scatter: how one ear of a recording differs, per third octave, from
// what the others of its group say, learned from all groups of its kind. It is a
// multivariate t distribution about zero, whose scatter matrix is that of maximum
// likelihood (Kent, Tyler & Vardi 1994, quoted from memory) joined with a prior
// worth priorCount differences. Common practice, no source.
const (
	lowFromHz, lowToHz = 40, 125
	freedom            = 5.0 // of the t distribution
	priorCount         = 20
	priorLowDB         = 0.7  // standard deviation at 200 Hz …
	priorHighDB        = 2.0  // … and at 10 kHz
	priorAgree         = 0.7  // correlation of neighbouring thirds, …
	priorLowAgree      = 0.98 // … below those of shape
	levelFreeDB        = 10   // of a whole recording, where levels are set aside
)

// law is how members of groups of one kind differ from the others of theirs.
type law struct {
	scatter *mat.SymDense // dB², over the thirds of shape
	whole   pool          // of scatter over those and the low ones, dB²
	// usual is the quantile of the scores of good recordings over usualScore.
	usual map[cause]float64
	shape float64 // the same of what is left without the level
	lowDB float64 // of the difference at low frequencies

	scales *sync.Map        // *scale by scaleKey
	judged map[int]instance // of the recordings that it was learned from
}

// thought is the law that is thought of before any recording was seen.
func thought() law {
	return law{scatter: priorScatter(shapeFromHz), whole: pool{sum: priorScatter(lowFromHz), n: 1}, lowDB: 2, shape: 1.2,
		usual: map[cause]float64{gainOfBoth: 1, gainOfOne: 1, blocked: 1, compressed: 1}}
}

// priorScatter is what is thought of scatter from some frequency on before any was seen.
func priorScatter(fromHz float64) *mat.SymDense {
	bands, at := band.AllThirds(), thirds(fromHz, shapeToHz)
	sd := func(i int) float64 {
		x := max(0, math.Log(bands[at[i]].Mid/200)/math.Log(50))
		return priorLowDB * math.Pow(priorHighDB/priorLowDB, x)
	}
	out := mat.NewSymDense(len(at), nil)
	for i := range at {
		agree := 1.0
		for j := i; j < len(at); j++ {
			out.SetSym(i, j, sd(i)*sd(j)*agree)
			if bands[at[j]].Mid < shapeFromHz*0.99 {
				agree *= priorLowAgree
			} else {
				agree *= priorAgree
			}
		}
	}
	return out
}

// scale is a scatter over thirds, with what it makes of changes that do not depend on the
// recording.
type scale struct {
	at      []int // thirds
	chol    mat.Cholesky
	logDet  float64         // of the scatter
	flat    change          // one in every third
	shelves func() []change // something lies over the microphone, by corner and slope
}

// change is a change of the levels for a size of one, and its squared size in standard deviations.
type change struct {
	v     *mat.VecDense // nil of none
	power float64
}

// metric weighs the difference of one ear from a group by the law, where it counts.
type metric struct {
	*scale
	d       *mat.VecDense
	weighed *mat.VecDense // the inverse of the scatter times d
}

// scaleKey is what a scale of a law depends on: most recordings of a group have it in common.
type scaleKey struct {
	g      *group
	ear    int
	spread float64
	at     uint64 // thirds, as bits
}

// metricOf is not ok where too few thirds count.
func (l law) metricOf(g *group, e int, o opinion) (m metric, ok bool) {
	at := counting(shapeFromHz, o.d)
	key := scaleKey{g: g, ear: e, spread: o.spread}
	for _, b := range at {
		key.at |= 1 << b
	}
	s, known := l.scales.Load(key)
	if !known {
		s, _ = l.scales.LoadOrStore(key, newScale(shapeFromHz, l.scatter, o.spread, at, g.moves[e]))
	}
	return s.(*scale).metric(o.d)
}

// wholeOf takes in low frequencies and sets the level aside. The scatter is what it is
// without recording i, for among few its own fault would be allowed for, and that of the
// differences as they are: at low frequencies a survey's surface errs less than elsewhere.
// Ears of which the same thirds count have the scale in common.
func (l law) wholeOf(i int, o [2]opinion, ok [2]bool) (m [2]metric, fine [2]bool) {
	level := make([]float64, band.Thirds)
	for b := range level {
		level[b] = levelFreeDB
	}
	scatter := l.whole.without(i)
	var s *scale
	for e := range m {
		if !ok[e] {
			continue
		}
		if at := counting(lowFromHz, o[e].d); s == nil || !slices.Equal(at, s.at) {
			s = newScale(lowFromHz, scatter, 1, at, [][]float64{level})
		}
		m[e], fine[e] = s.metric(o[e].d)
	}
	return m, fine
}

// counting are the thirds from some frequency on at which a difference is known.
func counting(fromHz float64, d []float64) []int {
	return slices.DeleteFunc(thirds(fromHz, shapeToHz), func(b int) bool { return math.IsNaN(d[b]) })
}

// newScale is the scale of a scatter from fromHz on, times spread, where changes that are no
// fault are allowed for. It is nil where too few thirds count.
func newScale(fromHz float64, scatter *mat.SymDense, spread float64, at []int, moves [][]float64) *scale {
	n := len(at)
	if n < 8 {
		return nil
	}
	s, first := &scale{at: at}, thirds(fromHz, shapeToHz)[0]
	c := mat.NewSymDense(n, nil)
	for i, p := range at {
		for j := i; j < n; j++ {
			c.SetSym(i, j, spread*scatter.At(p-first, at[j]-first))
		}
	}
	for _, move := range moves {
		c.SymRankOne(c, 1, s.vector(move))
	}
	if !s.chol.Factorize(c) {
		return nil
	}
	s.logDet = s.chol.LogDet()
	flat := mat.NewVecDense(n, nil)
	for i := range n {
		flat.SetVec(i, 1)
	}
	s.flat, s.shelves = s.change(flat), sync.OnceValue(s.shelve)
	return s
}

// metric is not ok of no scale.
func (s *scale) metric(d []float64) (m metric, ok bool) {
	if s == nil {
		return m, false
	}
	m = metric{scale: s, d: s.vector(d)}
	m.weighed = weighed(&s.chol, m.d)
	return m, true
}

// vector is x where the scale counts.
func (s *scale) vector(x []float64) *mat.VecDense {
	v := mat.NewVecDense(len(s.at), nil)
	for i, b := range s.at {
		v.SetVec(i, x[b])
	}
	return v
}

// shelves is how many corners are tried of a microphone that something lies over.
const shelves = 6

// shelve is what the shelves are made of.
func (s *scale) shelve() (out []change) {
	bands := band.AllThirds()
	for k := range 2 * shelves {
		corner, slope := 1600*math.Pow(5, float64(k%shelves)/(shelves-1)), 2+2*float64(k/shelves)
		v := mat.NewVecDense(len(s.at), nil)
		for i, b := range s.at {
			v.SetVec(i, 1/(1+math.Pow(corner/bands[b].Mid, slope)))
		}
		out = append(out, s.change(v))
	}
	return out
}

func (s *scale) change(v *mat.VecDense) change { return change{v, quadratic(&s.chol, v)} }

// shapeOf is the root mean square of a difference beyond its level, in standard deviations.
func (m metric) shapeOf(d *mat.VecDense) float64 {
	w := m.weighed
	if d != m.d {
		w = weighed(&m.chol, d)
	}
	cross := mat.Dot(m.flat.v, w)
	return math.Sqrt(max(0, mat.Dot(d, w)-cross*cross/m.flat.power) / float64(len(m.at)-1))
}

// cause is what may have changed the levels of a recording.
type cause int

const (
	gainOfBoth cause = iota
	gainOfOne
	blocked
	compressed
)

var causes = [...]cause{gainOfBoth, gainOfOne, blocked, compressed}
