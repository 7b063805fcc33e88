package placing

import (
	"math"
	"slices"
)

// The cups of one headset hang on one headband, and stops or tape hold both: seatings of
// a model on a fixture have them apart by much the same. How much is learned from all of
// them. Now and then a headband is turned and they are apart by far more, so that tails
// are heavy: half of what the left cup is before or above the right one is Student's t of
// apartDF degrees of freedom per axis, a normal whose precision is one draw of a gamma law.
const (
	apartDF = 4 // as of readings (reading.tailDF)
	// ApartMM is its scale before any seating is heard, per axis, and apartPriorDF the
	// degrees of freedom that this is worth (our choice, no source).
	ApartMM      = 1.0
	apartPriorDF = 2.0
	// The precisions over the usual one, in equal steps of their logarithm: cups thirty times as
	// far apart as usual are among them.
	apartLeast, apartMost, apartSteps = 1e-3, 5.0, 25
	apartRounds                       = 20
)

// cupsApart is half of what the left cup is before and above the right one, mm, as one normal of a
// posterior has it, without what other seatings say and without the prior, whose place the
// learned law takes: cups that a turned headband has 6 mm off in opposite directions are far out
// in any prior that is of use elsewhere, and were told half a millimetre nearer than they were.
type cupsApart struct {
	weight float64 // of the normal
	at     [ReadDim]float64
	cov    [ReadDim][ReadDim]float64
	prior  float64 // log density that the prior gives to it, without constants
}

// halfVariance is the prior's variance of half the difference of the cups, per axis, mm².
func (p Prior) halfVariance() (v [ReadDim]float64) {
	_, cov := Normal{Cov: p.Cov}.half(-1)
	for a := range v {
		v[a] = cov[a][a]
	}
	return v
}

// apart divides the prior out of half the difference of the cups: precisions subtract. The
// prior is about cups that do not differ, its axes independent.
func (p Normal) apart(prior Prior) cupsApart {
	const least = 1e-6 // 1/mm²: of cups of which the sound says nothing
	at, cov := p.half(-1)
	v := prior.halfVariance()
	det := cov[0][0]*cov[1][1] - cov[0][1]*cov[0][1]
	x, y, z := cov[1][1]/det, cov[0][0]/det, -cov[0][1]/det // the posterior's precision
	pull := [ReadDim]float64{x*at[0] + z*at[1], z*at[0] + y*at[1]}
	x, y = max(x-1/v[0], 0)+least, max(y-1/v[1], 0)+least
	det = x*y - z*z
	h := cupsApart{weight: p.Weight, cov: [ReadDim][ReadDim]float64{{y / det, -z / det}, {-z / det, x / det}}}
	for a := range h.at {
		h.at[a] = h.cov[a][0]*pull[0] + h.cov[a][1]*pull[1]
	}
	with := h.cov
	for a := range with {
		with[a][a] += v[a]
	}
	h.prior, _ = normal2(h.at, with)
	return h
}

// law calls each with the possible precisions over the usual one and their probabilities,
// the squared scale being v mm², and returns the logarithm of what the normal gives to it, without
// constants.
func (h cupsApart) law(v float64, each func(precision, probability float64)) float64 {
	var logs, us [apartSteps]float64
	for k := range logs {
		u := apartLeast * math.Pow(apartMost/apartLeast, float64(k)/(apartSteps-1))
		c := h.cov
		for a := range c {
			c[a][a] += v / u
		}
		us[k] = u
		// Of the logarithm of the precision: a gamma law of shape and rate apartDF/2.
		log, _ := normal2(h.at, c)
		logs[k] = log + apartDF/2*(math.Log(u)-u)
	}
	top, sum := slices.Max(logs[:]), 0.0
	for _, l := range logs {
		sum += math.Exp(l - top)
	}
	for k, l := range logs {
		each(us[k], math.Exp(l-top)/sum)
	}
	return top + math.Log(sum)
}

// square is the expected square of both axes once the cups' law is known to be normal
// with variance v per axis.
func (h cupsApart) square(v float64) (sum float64) {
	// The covariance left is v(C + v)⁻¹C, and v(C + v)⁻¹ takes the place along.
	c := h.cov
	p, q, r := c[0][0]+v, c[1][1]+v, c[0][1]
	det := p*q - r*r
	x, y := v*(q*h.at[0]-r*h.at[1])/det, v*(p*h.at[1]-r*h.at[0])/det
	return x*x + y*y + v*(2*det-v*(p+q))/det
}

// LearnApart is the scale in mm per axis of how the cups lie apart, from the posteriors of
// seatings of one model on a fixture, which have the prior: the most probable one
// (expectation–maximisation).
func LearnApart(ps []Posterior, prior Prior) float64 {
	var all []cupsApart
	for _, p := range ps {
		for _, normal := range p {
			all = append(all, normal.apart(prior))
		}
	}
	v := ApartMM * ApartMM
	for range apartRounds {
		sum, df := apartPriorDF*ApartMM*ApartMM, apartPriorDF
		for _, h := range all {
			h.law(v, func(u, probability float64) { sum += h.weight * probability * u * h.square(v/u) })
			df += h.weight * ReadDim
		}
		v = sum / df
	}
	return math.Sqrt(v)
}

// Apart puts what is known of how the cups lie apart, with a scale of mm per axis, in the place of
// what the prior says of it.
func (p Posterior) Apart(mm float64, prior Prior) Posterior {
	was := prior.halfVariance()
	out := make(Posterior, len(p))
	logs := make([]float64, len(p))
	for i, normal := range p {
		var given Posterior // by the precision
		h := normal.apart(prior)
		logs[i] = math.Log(normal.Weight) - h.prior + h.law(mm*mm, func(u, probability float64) {
			// What the one normal tells more than the other: less than nothing where it is wider.
			var more [ReadDim]float64
			for a := range more {
				more[a] = 1 / (u/(mm*mm) - 1/was[a])
			}
			q := normal.observed(-1, [ReadDim]float64{}, more)
			q.Weight = probability
			given = append(given, q)
		})
		out[i].Pos, out[i].Cov = given.Moments()
	}
	return out.weigh(logs)
}

// ReadApart multiplies in a reading of half of what the left cup is before and above the right
// one, mm and mm².
func (p Normal) ReadApart(at, variance [ReadDim]float64) Normal { return p.observed(-1, at, variance) }
