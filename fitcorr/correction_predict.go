package fitcorr

import (
	"math"
	"math/rand/v2"
	"sort"

	"asworn/capture/band"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// correctionDraws is the number of draws by which uncertainty is propagated
// through the survey, which bends.
const correctionDraws = 200

// target is where a correction leads: the worn mean of one ear.
type target struct {
	at      Estimate
	root    [3][3]float64 // of its covariance
	normal  [][3]float64  // standard normal draws, shared by all seatings
	scales  []float64     // quantiles of the scale that makes a normal Student's t
	spread  [3][3]float64 // covariance of a fixture seating about the worn mean, before it is measured
	lossDB  []float64     // mean worn loss to leaks per kept band …
	lossSE  []float64     // … and its standard error
	hasLoss bool
}

func newTarget(survey *Survey, offsets []Offset, worn *Worn, ear int, opt Options) target {
	t := target{at: worn.EarMean[ear]}
	t.root = covarianceRoot(t.at.Cov)
	rng := rand.New(rand.NewPCG(opt.Seed, uint64(ear)))
	for i := range correctionDraws {
		t.normal = append(t.normal, [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
		scale := 1.0
		if t.at.DF > 0 {
			q := (float64(i) + 0.5) / correctionDraws
			scale = math.Sqrt(t.at.DF / distuv.ChiSquared{K: t.at.DF}.Quantile(q))
		}
		t.scales = append(t.scales, scale)
	}
	for a := range 3 {
		sd := math.Hypot(worn.BetweenSD[a], worn.WithinSD[a])
		if sd == 0 {
			sd = opt.ToleranceMM
		}
		t.spread[a][a] = sd * sd
	}
	// Mean over listeners of the mean over their seatings.
	var subjects []string
	sums, counts := map[string][]float64{}, map[string]float64{}
	for _, o := range offsets {
		if o.Subject == fixtureSubject || o.Survey || o.Leak[ear].Class == "" || o.Leak[ear].Class == "open" {
			continue
		}
		if sums[o.Subject] == nil {
			subjects = append(subjects, o.Subject)
			sums[o.Subject] = make([]float64, band.Count)
		}
		for b, f := range band.All() {
			loss, _ := o.Leak[ear].lossAt(f.Mid)
			sums[o.Subject][b] += loss
		}
		counts[o.Subject]++
	}
	t.lossDB, t.lossSE = make([]float64, band.Count), make([]float64, band.Count)
	n := float64(len(subjects))
	if n < 2 {
		return t
	}
	t.hasLoss = true
	for b := range t.lossDB {
		var sum, sq float64
		for _, s := range subjects {
			v := sums[s][b] / counts[s]
			sum += v
			sq += v * v
		}
		t.lossDB[b] = sum / n
		t.lossSE[b] = math.Sqrt(math.Max(0, sq-sum*sum/n) / (n * (n - 1)))
	}
	return t
}

// covarianceRoot returns a matrix R with RRᵀ = cov.
func covarianceRoot(cov [3][3]float64) (root [3][3]float64) {
	c := toSym(cov)
	var eig mat.EigenSym
	if !eig.Factorize(c, true) {
		return root
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	for k, v := range eig.Values(nil) {
		for a := range 3 {
			root[a][k] = vec.At(a, k) * math.Sqrt(math.Max(v, 0))
		}
	}
	return root
}

// places are draws of where a seating and the worn mean are.
type places struct{ seating, mean [3]float64 }

// draw draws where a seating and the worn mean are, given their estimates and
// that a seating on the fixture lies about the worn mean as worn seatings do:
// the operator puts the headphone on as people would. Without that an error of
// the worn mean, common to all seatings, would look like an offset of each of
// them. The worn mean follows Student's t as a scale mixture of normals, whose
// scale is drawn from its posterior; draws are conditioned by kriging (Chilès &
// Delfiner, Geostatistics, 2nd ed., ch. 7: conditioning by kriging; quoted from memory).
func (t *target) draw(rng *rand.Rand, seating Estimate) []places {
	cp, cm := toSym(seating.Cov), toSym(t.at.Cov)
	root, spread := covarianceRoot(seating.Cov), covarianceRoot(t.spread)
	diff := mat.NewVecDense(3, nil)
	for a := range 3 {
		diff.SetVec(a, seating.Value[a]-t.at.Value[a])
	}
	innovation := func(scale float64) *mat.Cholesky {
		sum := toSym(t.spread)
		sum.AddSym(sum, cp)
		var m mat.SymDense
		m.ScaleSym(scale*scale, cm)
		sum.AddSym(sum, &m)
		for a := range 3 {
			sum.SetSym(a, a, sum.At(a, a)+1e-9)
		}
		var chol mat.Cholesky
		chol.Factorize(sum) // positive definite: the spread is
		return &chol
	}
	sums := make([]*mat.Cholesky, correctionDraws)
	weights := make([]float64, correctionDraws) // cumulative
	total := 0.0
	for i, k := range t.scales {
		if i > 0 && k == t.scales[i-1] {
			sums[i] = sums[i-1]
		} else {
			sums[i] = innovation(k)
		}
		var x mat.VecDense
		if sums[i].SolveVecTo(&x, diff) == nil {
			total += math.Exp(-0.5*mat.Dot(diff, &x) - 0.5*sums[i].LogDet())
		}
		weights[i] = total
	}
	out := make([]places, correctionDraws)
	for i := range out {
		drawnScale := min(sort.SearchFloat64s(weights, total*rng.Float64()), correctionDraws-1)
		k := t.scales[drawnScale]
		p := places{seating: drawn(rng, seating.Value, root), mean: t.at.Value}
		for a := range 3 {
			for j, z := range t.normal[i] {
				p.mean[a] += k * t.root[a][j] * z
			}
		}
		// The innovation: the difference that the spread would have less the one drawn.
		want := drawn(rng, [3]float64{}, spread)
		v := mat.NewVecDense(3, nil)
		for a := range 3 {
			v.SetVec(a, want[a]-(p.seating[a]-p.mean[a]))
		}
		var x, ps, ms mat.VecDense
		if sums[drawnScale].SolveVecTo(&x, v) == nil {
			ps.MulVec(cp, &x)
			ms.MulVec(cm, &x)
			for a := range 3 {
				p.seating[a] += ps.AtVec(a)
				p.mean[a] -= k * k * ms.AtVec(a)
			}
		}
		out[i] = p
	}
	return out
}

func toSym(c [3][3]float64) *mat.SymDense {
	s := mat.NewSymDense(3, nil)
	for a := range 3 {
		for b := a; b < 3; b++ {
			s.SetSym(a, b, c[a][b])
		}
	}
	return s
}

// drawn returns a draw from the normal distribution with the given mean and
// root of the covariance.
func drawn(rng *rand.Rand, mean [3]float64, root [3][3]float64) [3]float64 {
	for k := range 3 {
		z := rng.NormFloat64()
		for a := range 3 {
			mean[a] += root[a][k] * z
		}
	}
	return mean
}

// prediction is the change of one ear of one seating to the worn mean, with
// draws of what the change truly is.
type prediction struct {
	delta   []float64 // by the estimates, limited in depth
	known   []bool
	limited []bool
	truths  [][]float64 // per draw and kept band
	scatter [][]float64 // and by how much the seating lies below the fixture's level at its place for other reasons
}

// predict predicts the change of one ear of fixture seating number, the same
// for all points.
func (c *corrector) predict(number int, o Offset, ear int) *prediction {
	key := [2]int{number, ear}
	if p, ok := c.predicted[key]; ok {
		return p
	}
	p := c.newPrediction(number, o, ear)
	c.predicted[key] = p
	return p
}

func (c *corrector) newPrediction(number int, o Offset, ear int) *prediction {
	e := &c.survey.Ears[ear]
	t := &c.target[ear]
	p := &prediction{delta: make([]float64, band.Count), known: make([]bool, band.Count), limited: make([]bool, band.Count)}
	leak := o.Leak[ear]
	sealed := t.hasLoss && leak.Class != "" && leak.Class != "open"
	position, low := e.tellsPlace(), make([]bool, band.Count)
	loss, lossSE := make([]float64, band.Count), make([]float64, band.Count)
	for b, f := range band.All() {
		low[b] = sealed && f.Mid < leakTopHz
		if low[b] {
			var se float64
			loss[b], se = leak.lossAt(f.Mid)
			lossSE[b] = math.Hypot(se, t.lossSE[b])
		}
		p.known[b] = position[b] || low[b]
	}
	own, others := c.own(ear, number)
	places := make([][3]float64, 1+len(others))
	all := append([]*sounding{own}, others...)
	shared := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+5)))) // what all seatings have in common
	rng := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+1)+number)))
	mark := e.atMark()
	for i, place := range t.draw(rng, o.Ears[ear]) {
		places[0] = place.seating
		for k, w := range others {
			places[1+k] = w.draws[i]
		}
		surface := e.learn([2][3]float64{place.mean, place.seating}, all, places, mark)
		truth, scatter := make([]float64, band.Count), make([]float64, band.Count)
		// The survey errs alike over about a third octave; a leak over all.
		var meanZ, hereZ, seatingZ float64
		leakZ := rng.NormFloat64()
		zone := 0
		for b := range truth {
			if b%perThird == 0 {
				meanZ, hereZ, seatingZ = shared.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
			}
			for zone < len(e.Zones)-1 && b >= e.Zones[zone].To {
				zone++
			}
			scatter[b] = seatingZ * e.Scatter[b]
			if position[b] {
				r := surface.root[zone]
				there := surface.level[0][b] + e.Scatter[b]*r[0]*meanZ
				here := surface.level[1][b] + e.Scatter[b]*(r[1]*meanZ+r[2]*hereZ)
				truth[b] += there - here
				if own.counts[zone] {
					scatter[b] = here - own.level[b]
				}
			}
			if low[b] {
				truth[b] += loss[b] - t.lossDB[b] + leakZ*lossSE[b]
			}
		}
		p.truths, p.scatter = append(p.truths, truth), append(p.scatter, scatter)
	}
	surface := e.learn([2][3]float64{t.at.Value, o.Ears[ear].Value}, all, nil, mark)
	for b := range p.delta {
		if position[b] {
			p.delta[b] += surface.level[0][b] - surface.level[1][b]
		}
		if low[b] {
			p.delta[b] += loss[b] - t.lossDB[b]
		}
		v := p.delta[b]
		p.limited[b] = math.Abs(v) > correctionDepthDB
		p.delta[b] = math.Max(-correctionDepthDB, math.Min(v, correctionDepthDB))
	}
	return p
}

// nearer returns the share of draws in which adding share·delta brings the
// measured curve nearer to the truth over the given third octaves, by the mean
// square over known bands. The curve's own scatter stays in it either way, and
// makes a small correction a matter of luck.
func (p *prediction) nearer(thirds []int, share float64) float64 {
	count := 0
	for i, truth := range p.truths {
		gain := 0.0
		for _, t := range thirds {
			for b := perThird * t; b < perThird*(t+1); b++ {
				if p.known[b] {
					// (off)² − (off − move)²
					move := share * p.delta[b]
					gain += move * (2*(truth[b]+p.scatter[i][b]) - move)
				}
			}
		}
		if gain > 0 {
			count++
		}
	}
	return float64(count) / correctionDraws
}

// share returns how much of the change to make over the given third octaves:
// the largest share that brings the curve nearer with probability nearerWhole.
// Each step back from the whole is the less likely to do harm. ok is false when
// not even leastShare is sure enough.
func (p *prediction) share(thirds []int) (share float64, ok bool) {
	const step = 0.05
	for share = 1; share >= leastShare-step/2; share -= step {
		if p.nearer(thirds, share) >= nearerWhole {
			return share, true
		}
	}
	return 0, false
}

// surest returns the third octaves, of those given, to correct and how much of
// the change to make: all of them when that is sure enough to bring the curve
// nearer, else those alone that are themselves the surer. Both are empty when
// nothing is sure.
func (p *prediction) surest(thirds []int) (sure []int, share float64) {
	alone := make([]float64, len(thirds))
	for i, t := range thirds {
		alone[i] = p.nearer([]int{t}, 1)
	}
	for _, least := range []float64{nearerThird, 0.6, 0.7, 0.8, 0.9} {
		sure = nil
		for i, t := range thirds {
			if alone[i] >= least {
				sure = append(sure, t)
			}
		}
		if share, ok := p.share(sure); ok && len(sure) > 0 {
			return sure, share
		}
	}
	return nil, 0
}

// stderr returns the root mean square over the draws of what is left in band b
// after a change.
func (p *prediction) stderr(b int, change float64) float64 {
	sq := 0.0
	for _, truth := range p.truths {
		sq += (truth[b] - change) * (truth[b] - change)
	}
	return math.Sqrt(sq / correctionDraws)
}

// deepest returns the largest change within a third octave, in dB.
func (p *prediction) deepest(third int) float64 {
	deep := 0.0
	for b := third * perThird; b < (third+1)*perThird; b++ {
		if p.known[b] {
			deep = math.Max(deep, math.Abs(p.delta[b]))
		}
	}
	return deep
}
