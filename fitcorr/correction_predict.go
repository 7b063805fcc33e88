package fitcorr

import (
	"math"
	"math/rand/v2"

	"asworn/capture/band"

	"gonum.org/v1/gonum/mat"
)

// correctionDraws is the number of draws by which uncertainty is propagated
// through the survey, which bends.
const correctionDraws = 100

// target is where a correction leads: the worn mean of one ear.
type target struct {
	at      Estimate
	levels  [][]float64 // survey level change at draws of the worn mean, per kept band
	level   []float64   // and at its estimate
	lossDB  []float64   // mean worn loss to leaks per kept band …
	lossSE  []float64   // … and its standard error
	hasLoss bool
}

func newTarget(survey *Survey, offsets []Offset, worn *Worn, ear int, opt Options) target {
	t := target{at: worn.EarMean[ear]}
	t.level, _ = survey.Predict(ear, t.at.Value)
	rng := rand.New(rand.NewPCG(opt.Seed, uint64(ear)))
	root := covarianceRoot(t.at.Cov)
	for range correctionDraws {
		level, _ := survey.Predict(ear, drawn(rng, t.at.Value, root))
		t.levels = append(t.levels, level)
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
	c := mat.NewSymDense(3, nil)
	for a := range 3 {
		for b := a; b < 3; b++ {
			c.SetSym(a, b, cov[a][b])
		}
	}
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
	delta, stderr []float64
	known         []bool
	truths        [][]float64 // per draw and kept band
	scatter       [][]float64 // and what the seating differs by for other reasons
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
	all := band.All()
	p := &prediction{delta: make([]float64, band.Count), stderr: make([]float64, band.Count), known: make([]bool, band.Count)}
	here, errHere := c.survey.Predict(ear, o.Ears[ear].Value)
	_, errThere := c.survey.Predict(ear, t.at.Value)
	leak := o.Leak[ear]
	sealed := t.hasLoss && leak.Class != "" && leak.Class != "open"
	position, low := make([]bool, band.Count), make([]bool, band.Count)
	lossSE := make([]float64, band.Count)
	for b, f := range all {
		position[b] = e.Valid[b] && f.Lower >= positionLowHz && f.Upper < positionHighHz
		low[b] = sealed && f.Mid < leakTopHz
		if position[b] {
			p.delta[b] += t.level[b] - here[b]
		}
		if low[b] {
			loss, se := leak.lossAt(f.Mid)
			p.delta[b] += loss - t.lossDB[b]
			lossSE[b] = math.Hypot(se, t.lossSE[b])
		}
		p.known[b] = position[b] || low[b]
	}
	rng := rand.New(rand.NewPCG(c.opt.Seed, uint64(1000*(ear+1)+number)))
	sq := make([]float64, band.Count)
	root := covarianceRoot(o.Ears[ear].Cov)
	for i := range correctionDraws {
		at, _ := c.survey.Predict(ear, drawn(rng, o.Ears[ear].Value, root))
		truth := make([]float64, band.Count)
		// The survey errs alike over about a third octave; a leak over all.
		surveyZ, leakZ, seatingZ := 0.0, rng.NormFloat64(), 0.0
		scatter := make([]float64, band.Count)
		for b := range truth {
			if b%perThird == 0 {
				surveyZ, seatingZ = rng.NormFloat64(), rng.NormFloat64()
			}
			scatter[b] = seatingZ * e.Scatter[b]
			if position[b] {
				truth[b] += t.levels[i][b] - at[b] + surveyZ*math.Max(errHere[b], errThere[b])
			}
			if low[b] {
				loss, _ := leak.lossAt(all[b].Mid)
				truth[b] += loss - t.lossDB[b] + leakZ*lossSE[b]
			}
			sq[b] += (truth[b] - p.delta[b]) * (truth[b] - p.delta[b])
		}
		p.truths, p.scatter = append(p.truths, truth), append(p.scatter, scatter)
	}
	for b := range sq {
		p.stderr[b] = math.Sqrt(sq[b] / correctionDraws)
	}
	for _, part := range correctionParts() {
		p.shrinkPart(part.from, part.to)
	}
	return p
}

// nearer returns the share of draws in which adding delta brings the third
// octaves from..to of the measured curve nearer to the truth, by the mean
// square over known bands. The curve's own scatter stays in it either way, and
// makes a small correction a matter of luck.
func (p *prediction) nearer(from, to int) float64 {
	count := 0
	for i, truth := range p.truths {
		var before, after float64
		for b := from * perThird; b < to*perThird; b++ {
			if p.known[b] {
				off := truth[b] + p.scatter[i][b]
				before += off * off
				after += (off - p.delta[b]) * (off - p.delta[b])
			}
		}
		if after < before {
			count++
		}
	}
	return float64(count) / correctionDraws
}

// shrinkPart scales the change over the third octaves from..to by the share
// that its uncertainty leaves, 1 − shrinkBy·E[error²]/change² or nothing (the
// positive part of James & Stein, Proc. 4th Berkeley Symp. 1, 1961): an offset
// that only seems large is, on average, to a part the error of its estimate.
func (p *prediction) shrinkPart(from, to int) {
	var change, err float64
	for b := from * perThird; b < to*perThird; b++ {
		change += p.delta[b] * p.delta[b]
		err += p.stderr[b] * p.stderr[b]
	}
	share := 0.0
	if change > 0 {
		share = math.Max(0, 1-shrinkBy*err/change)
	}
	for b := from * perThird; b < to*perThird; b++ {
		p.delta[b] *= share
		sq := 0.0
		for _, truth := range p.truths {
			sq += (truth[b] - p.delta[b]) * (truth[b] - p.delta[b])
		}
		p.stderr[b] = math.Sqrt(sq / correctionDraws)
	}
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
