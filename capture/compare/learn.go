package compare

import (
	"context"
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/order"
	"asworn/capture/study"
	"asworn/capture/workers"
)

// How a law is learned. Common practice, no source.
const (
	lawRounds  = 5
	usualShare = 0.9   // quantile of the scores that stands for a kind
	usualScore = 1.645 // that quantile of a score whose scatter is normal and known
	usualCount = 20    // scores that what is thought of them is worth
	priorFloor = 0.3   // of what is thought of the scores without any
	modelFloor = 0.6   // of those with all headphones, with one
)

// school is what laws are learned from.
type school struct {
	rows   []study.Seating
	recs   []Traits
	jobs   int
	groups []*group
	own    []func() *member // of each recording that is in a group
	known  sync.Map         // of model and kind: func() law
}

// member is a recording and what the others of its group say about it, whatever the law.
type member struct {
	g      *group
	o      [2]opinion
	ok     [2]bool
	undone [2]undone // of the thirds that a law's whole takes in
}

func newSchool(rows []study.Seating, recs []Traits, jobs int) *school {
	s := &school{rows: rows, recs: recs, jobs: jobs, groups: panelOf(rows, recs, jobs), own: make([]func() *member, len(rows))}
	for _, g := range s.groups { // no recording is in two
		for _, i := range g.members {
			s.own[i] = sync.OnceValue(func() *member {
				m := member{g: g}
				var at [2][]int
				for e := range m.o {
					if m.o[e], m.ok[e] = g.about(rows, recs, study.Ear(e), i); m.ok[e] {
						at[e] = counting(lowFromHz, m.o[e].d)
					}
				}
				m.undone = recs[i].undo(at)
				return &m
			})
		}
	}
	return s
}

// law returns that of a group: of its kind with this headphone, where the law of
// the kind with all headphones is the prior.
func (s *school) law(g *group) law {
	of := func(model string, k kind, learn func() law) law {
		l, _ := s.known.LoadOrStore([2]any{model, k}, sync.OnceValue(learn))
		return l.(func() law)()
	}
	model := s.rows[g.members[0]].Model
	return of(model, g.kind, func() law {
		prior := of("", g.kind, func() law {
			return s.learn(thought(), priorFloor, func(o *group) bool { return o.kind == g.kind })
		})
		if model == "" {
			return prior
		}
		return s.learn(prior, modelFloor, func(o *group) bool { return o.kind == g.kind && s.rows[o.members[0]].Model == model })
	})
}

// learn joins a prior with what the groups show that of names.
func (s *school) learn(prior law, floor float64, of func(*group) bool) law {
	var members []int
	for _, g := range s.groups {
		if of(g) {
			members = append(members, g.members...)
		}
	}
	each := func(f func(k, i int)) { // on all workers
		_ = workers.All(context.Background(), len(members), s.jobs, func(k int) { f(k, members[k]) }) // ends with its work alone
	}
	each(func(_, i int) { s.own[i]() })
	l := law{usual: map[cause]float64{}, scales: new(sync.Map), judged: map[int]instance{}}
	var all, whole [][]float64
	var wholeOf []int // recordings that whole is of
	var low []float64
	for _, i := range members {
		own := s.own[i]()
		for e, o := range own.o {
			if !own.ok[e] {
				continue
			}
			if m := mean(over(o.d, thirds(lowFromHz, lowToHz))); !math.IsNaN(m) {
				low = append(low, math.Abs(m))
			}
			if at := over(o.d, thirds(lowFromHz, shapeToHz)); len(at) == prior.whole.sum.SymmetricDim() {
				whole, wholeOf = append(whole, at), append(wholeOf, i)
			}
			if at := over(o.d, thirds(shapeFromHz, shapeToHz)); len(at) == prior.scatter.SymmetricDim() {
				for k := range at {
					at[k] /= math.Sqrt(o.spread)
				}
				all = append(all, at)
			}
		}
	}
	l.scatter = joined(prior.scatter, all).without(-1)
	l.whole = joined(prior.whole.without(-1), whole)
	l.whole.of = wholeOf
	l.lowDB = quantile(low, prior.lowDB, floor)
	scores := map[cause][]float64{}
	var shape []float64
	judged := make([]instance, len(members))
	each(func(k, i int) { judged[k] = l.judge(s.own[i](), i) })
	for k, c := range judged {
		l.judged[members[k]] = c
		for _, a := range c.accounts {
			scores[a.cause] = append(scores[a.cause], math.Abs(a.score)/usualScore)
		}
		for e := range c.ok {
			if c.ok[e] {
				shape = append(shape, c.shape[e])
			}
		}
	}
	for _, c := range causes {
		least := floor
		if c == compressed { // headphones differ in it: with flat low frequencies it is large
			least = 0
		}
		l.usual[c] = quantile(scores[c], prior.usual[c], least)
	}
	l.shape = quantile(shape, prior.shape, floor)
	return l
}

// quantile of magnitudes, which is thought to be prior without any; floor is the
// least part of the prior that is believed, of many.
func quantile(x []float64, prior, floor float64) float64 {
	n := float64(len(x))
	least := prior * (floor + (1-floor)*usualCount/(usualCount+n))
	if len(x) == 0 {
		return prior
	}
	return max(least, order.Select(x, int(usualShare*(n-1)+0.5))*(1+usualCount/(2*n+usualCount)/2))
}

// pool is a scatter and what it was made of.
type pool struct {
	sum *mat.SymDense // n times the scatter
	n   float64
	d   []*mat.VecDense // differences, …
	w   []float64       // … their weights in the sum, …
	of  []int           // … and the recordings that they are of
}

// without is the scatter that is left without a recording.
func (p pool) without(i int) *mat.SymDense {
	out, n := mat.NewSymDense(p.sum.SymmetricDim(), nil), p.n
	out.CopySym(p.sum)
	for k, of := range p.of {
		if of == i {
			out.SymRankOne(out, -p.w[k], p.d[k])
			n--
		}
	}
	out.ScaleSym(1/n, out)
	return out
}

// joined is the scatter of differences with a prior.
func joined(prior *mat.SymDense, all [][]float64) pool {
	n := prior.SymmetricDim()
	p := pool{n: float64(priorCount + len(all)), w: make([]float64, len(all))}
	for _, d := range all {
		p.d = append(p.d, mat.NewVecDense(n, d))
	}
	now := prior
	for range lawRounds {
		var chol mat.Cholesky
		if !chol.Factorize(now) {
			return pool{sum: prior, n: 1}
		}
		p.sum = mat.NewSymDense(n, nil)
		p.sum.ScaleSym(priorCount, prior)
		for k, x := range p.d {
			p.w[k] = (freedom + float64(n)) / (freedom + quadratic(&chol, x))
			p.sum.SymRankOne(p.sum, p.w[k], x)
		}
		now = p.without(-1)
	}
	return p
}
