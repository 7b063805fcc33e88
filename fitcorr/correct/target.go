package correct

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/capture/band"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// target is where a correction leads: the worn mean of one ear.
type target struct {
	at      seat.Estimate // mm, mm, degrees
	root    [3][3]float64 // R with RR' the covariance of at
	normal  [][3]float64  // correctionDraws standard normal draws, the same for all seatings
	scales  []float64     // correctionDraws quantiles of the scale that makes a normal Student's t
	spread  [3][3]float64 // covariance of a fixture seating about the worn mean, before it is measured
	lossDB  []float64     // mean worn loss to leaks per kept band …
	lossSE  []float64     // … and its standard error
	hasLoss bool
}

func newTarget(offsets []position.Offset, worn *panel.Worn, ear int, scales []float64, opt seat.Options) target {
	t := target{at: worn.EarMean[ear], scales: scales}
	t.root = stats.Root3(t.at.Cov)
	rng := rand.New(rand.NewPCG(opt.Seed, uint64(ear)))
	for range correctionDraws {
		t.normal = append(t.normal, [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
	}
	for a := range 3 {
		sd := math.Hypot(worn.BetweenSD[a], worn.WithinSD[a])
		if sd == 0 {
			sd = opt.MaxOffsetMM
		}
		t.spread[a][a] = sd * sd
	}
	var who []string
	var leaks []seal.Leak
	for _, o := range offsets {
		if o.Worn() && o.Leak[ear].Class != "" && o.Leak[ear].Class != seal.Open {
			who, leaks = append(who, o.Subject), append(leaks, o.Leak[ear])
		}
	}
	t.lossDB, t.lossSE = make([]float64, band.Count), make([]float64, band.Count)
	loss := make([]float64, len(leaks))
	for b, f := range band.All() {
		for i, l := range leaks {
			loss[i], _ = l.LossAt(f.Mid)
		}
		mean, se, df := stats.GroupMean(who, loss)
		if df == 0 {
			return t
		}
		t.hasLoss = true
		t.lossDB[b], t.lossSE[b] = mean, se
	}
	return t
}

// scalesOf are correctionDraws quantiles of the scale that makes a normal distribution Student's t of
// df degrees of freedom, 1 where df is 0.
func scalesOf(df float64) []float64 {
	out := make([]float64, correctionDraws)
	for i := range out {
		out[i] = 1
		if df > 0 {
			q := (float64(i) + 0.5) / correctionDraws
			out[i] = math.Sqrt(df / distuv.ChiSquared{K: df}.Quantile(q))
		}
	}
	return out
}

// draw draws where the worn mean and a seating are, given their estimates and
// that a seating on the fixture lies about the worn mean as worn seatings do:
// the operator puts the headphone on as people would. Without that an error of
// the worn mean, common to all seatings, would look like an offset of each of
// them. The worn mean follows Student's t as a scale mixture of normals, whose
// scale is drawn from its posterior; draws are conditioned by kriging (Chilès &
// Delfiner, Geostatistics, 2nd ed., ch. 7: conditioning by kriging; quoted from memory).
func (t *target) draw(rng *rand.Rand, seating seat.Estimate) (means, seatings [][3]float64) {
	root, spread := stats.Root3(seating.Cov), stats.Root3(t.spread)
	precisions, weights := t.innovations(seating)
	total := weights[len(weights)-1]
	for i := range correctionDraws {
		drawnScale := min(sort.SearchFloat64s(weights, total*rng.Float64()), correctionDraws-1)
		k := t.scales[drawnScale]
		place, mean := stats.NormalDraw(rng, seating.Value, root), t.at.Value
		for a := range 3 {
			for j, z := range t.normal[i] {
				mean[a] += k * t.root[a][j] * z
			}
		}
		// The innovation: the difference that the spread would have less the one drawn.
		want := stats.NormalDraw(rng, [3]float64{}, spread)
		var v, x [3]float64
		for a := range 3 {
			v[a] = want[a] - (place[a] - mean[a])
		}
		for a := range 3 {
			for b := range 3 {
				x[a] += precisions[drawnScale][a][b] * v[b]
			}
		}
		for a := range 3 {
			for b := range 3 {
				place[a] += seating.Cov[a][b] * x[b]
				mean[a] -= k * k * t.at.Cov[a][b] * x[b]
			}
		}
		means, seatings = append(means, mean), append(seatings, place)
	}
	return means, seatings
}

// innovations are, per scale of the worn mean, the inverse of the covariance (3 × 3) of the
// difference between seating and worn mean, and the weights of the scales up to it, summed:
// the density of the difference that was found.
func (t *target) innovations(seating seat.Estimate) (precisions [][3][3]float64, weights []float64) {
	var diff [3]float64
	for a := range 3 {
		diff[a] = seating.Value[a] - t.at.Value[a]
	}
	total := 0.0
	for _, k := range t.scales {
		sum := t.spread
		for a := range 3 {
			for b := range 3 {
				sum[a][b] += seating.Cov[a][b] + k*k*t.at.Cov[a][b]
			}
			sum[a][a] += 1e-9
		}
		precision, det := stats.Inverse3(sum) // positive definite: the spread is
		var square float64
		for a := range 3 {
			for b := range 3 {
				square += diff[a] * precision[a][b] * diff[b]
			}
		}
		total += math.Exp(-0.5*square) / math.Sqrt(det)
		precisions, weights = append(precisions, precision), append(weights, total)
	}
	return precisions, weights
}

// sealChange is the level change from a seating's seal to the mean worn one per
// kept band: zero above the leak's range and where there is no seal.
type sealChange struct {
	change, stderr []float64
	known          []bool
}

func (t *target) sealChange(leak seal.Leak) sealChange {
	s := sealChange{make([]float64, band.Count), make([]float64, band.Count), make([]bool, band.Count)}
	if !t.hasLoss || leak.Class == "" || leak.Class == seal.Open {
		return s
	}
	for b, f := range band.All() {
		if f.Mid < leakTopHz {
			loss, se := leak.LossAt(f.Mid)
			s.change[b], s.stderr[b], s.known[b] = loss-t.lossDB[b], math.Hypot(se, t.lossSE[b]), true
		}
	}
	return s
}
