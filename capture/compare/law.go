package compare

import (
	"math"

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

// metric weighs the difference of one ear from a group by the law, where it counts.
type metric struct {
	at      []int // thirds
	chol    mat.Cholesky
	d       *mat.VecDense
	weighed *mat.VecDense // the inverse of the scatter times d
}

// metricOf is not ok where too few thirds count.
func (l law) metricOf(g group, e int, o opinion) (m metric, ok bool) {
	return metricFrom(shapeFromHz, l.scatter, o, g.moves[e])
}

// wholeOf takes in low frequencies and sets the level aside. The scatter is what it is
// without recording i, for among few its own fault would be allowed for, and that of the
// differences as they are: at low frequencies a survey's surface errs less than elsewhere.
func (l law) wholeOf(i int, o opinion) (m metric, ok bool) {
	level := make([]float64, band.Thirds)
	for b := range level {
		level[b] = levelFreeDB
	}
	o.spread = 1
	return metricFrom(lowFromHz, l.whole.without(i), o, [][]float64{level})
}

func metricFrom(fromHz float64, scatter *mat.SymDense, o opinion, moves [][]float64) (m metric, ok bool) {
	var kept []int
	for i, b := range thirds(fromHz, shapeToHz) {
		if !math.IsNaN(o.d[b]) {
			kept, m.at = append(kept, i), append(m.at, b)
		}
	}
	n := len(kept)
	if n < 8 {
		return m, false
	}
	c := mat.NewSymDense(n, nil)
	for i, p := range kept {
		for j := i; j < n; j++ {
			c.SetSym(i, j, o.spread*scatter.At(p, kept[j]))
		}
	}
	for _, move := range moves {
		c.SymRankOne(c, 1, m.vector(move))
	}
	if !m.chol.Factorize(c) {
		return m, false
	}
	m.d = m.vector(o.d)
	m.weighed = weighed(&m.chol, m.d)
	return m, true
}

// vector is x where the metric counts.
func (m metric) vector(x []float64) *mat.VecDense {
	v := mat.NewVecDense(len(m.at), nil)
	for i, b := range m.at {
		v.SetVec(i, x[b])
	}
	return v
}

// flat is one in every third.
func (m metric) flat() *mat.VecDense {
	v := mat.NewVecDense(len(m.at), nil)
	for i := range m.at {
		v.SetVec(i, 1)
	}
	return v
}

// shapeOf is the root mean square of a difference beyond its level, in standard deviations.
func (m metric) shapeOf(d *mat.VecDense) float64 {
	flat, w := m.flat(), m.weighed
	if d != m.d {
		w = weighed(&m.chol, d)
	}
	cross := mat.Dot(flat, w)
	return math.Sqrt(max(0, mat.Dot(d, w)-cross*cross/quadratic(&m.chol, flat)) / float64(len(m.at)-1))
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
