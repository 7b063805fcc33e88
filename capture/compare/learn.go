package compare

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/order"
	"asworn/capture/study"
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
	groups []group
	known  sync.Map // of model and kind: func() law
}

// law returns that of a group: of its kind with this headphone, where the law of
// the kind with all headphones is the prior.
func (s *school) law(g group) law {
	of := func(model string, k kind, learn func() law) law {
		l, _ := s.known.LoadOrStore([2]any{model, k}, sync.OnceValue(learn))
		return l.(func() law)()
	}
	model := s.rows[g.members[0]].Model
	return of(model, g.kind, func() law {
		prior := of("", g.kind, func() law {
			return s.learn(thought(), priorFloor, func(o group) bool { return o.kind == g.kind })
		})
		if model == "" {
			return prior
		}
		return s.learn(prior, modelFloor, func(o group) bool { return o.kind == g.kind && s.rows[o.members[0]].Model == model })
	})
}

// learn joins a prior with what the groups show that of names.
func (s *school) learn(prior law, floor float64, of func(group) bool) law {
	each := func(f func(g group, i int)) {
		for _, g := range s.groups {
			if of(g) {
				for _, i := range g.members {
					f(g, i)
				}
			}
		}
	}
	l := law{usual: map[cause]float64{}}
	var all, whole [][]float64
	var wholeOf []int // recordings that whole is of
	var low []float64
	each(func(g group, i int) {
		for e := range study.Ears {
			o, ok := g.about(s.rows, s.recs, study.Ear(e), i)
			if !ok {
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
	})
	l.scatter = joined(prior.scatter, all).without(-1)
	l.whole = joined(prior.whole.without(-1), whole)
	l.whole.of = wholeOf
	l.lowDB = quantile(low, prior.lowDB, floor)
	scores := map[cause][]float64{}
	var shape []float64
	each(func(g group, i int) {
		c := l.judge(g, s.rows, s.recs, i)
		for _, a := range c.accounts {
			scores[a.cause] = append(scores[a.cause], math.Abs(a.score)/usualScore)
		}
		for e := range c.ok {
			if c.ok[e] {
				shape = append(shape, c.shape[e])
			}
		}
	})
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
