package effects

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Law estimates how ears differ on a layout, from as many listeners.
type Law struct {
	Layout
	Listeners float64
}

// FixtureEar is the variance of the fixture's ear over that of a person's: the
// mean over all bands of the ratio of second moments, with a prior of 1, which it
// does not fall below. The ratio is worth as many draws as bands are independent
// of each other by the correlation between them (now): (Σλ)²/Σλ² of its
// eigenvalues (Box, Ann. Math. Stat. 25(2), 1954).
func (law Law) FixtureEar(fixture, people, prior, now *mat.SymDense) float64 {
	fixture, people = law.withoutLevel(fixture), law.withoutLevel(people)
	n := people.SymmetricDim()
	listeners := law.Listeners
	var ratio, square float64
	for i := range n {
		person := (people.At(i, i)+earSizeWeight*prior.At(i, i))/(listeners+earSizeWeight) + earFloorDB*earFloorDB
		ratio += fixture.At(i, i) / person / float64(n)
		for j := range n {
			square += now.At(i, j) * now.At(i, j) / (now.At(i, i) * now.At(j, j))
		}
	}
	independent := float64(n*n) / square
	return math.Max(1, (fixtureEarWeight+independent*ratio)/(fixtureEarWeight+independent))
}

// AddEarMoment adds E[yy'] (dB², width·n square) for y = (left ± right)/√2 of a
// vector with the given mean (length dim) and root of its covariance (dim rows).
func (law Law) AddEarMoment(to [2]*mat.SymDense, mean *mat.VecDense, root *mat.Dense) {
	n, w := law.Bands.N, law.Width()
	_, cols := root.Dims()
	half := math.Sqrt(0.5)
	for part, sign := range []float64{1, -1} {
		y := mat.NewDense(w*n, cols+1, nil)
		for k := range w {
			for r := range n {
				l, rr := law.Channel(0, k)+r, law.Channel(1, k)+r
				row := y.RawRowView(k*n + r)
				a, b := root.RawRowView(l), root.RawRowView(rr)
				for c := range a {
					row[c] = half * (a[c] + sign*b[c])
				}
				row[cols] = half * (mean.AtVec(l) + sign*mean.AtVec(rr))
			}
		}
		// A few columns at a time stay in the cache.
		for from := 0; from <= cols; from += 64 {
			to[part].SymRankK(to[part], 1, y.Slice(0, w*n, from, min(from+64, cols+1)))
		}
	}
}

// Structured turns second moments of a few draws into a covariance over the
// channels of one ear. What an ear does under one headphone is a part common
// to all models and a part of its own, by the correlation between models that the
// panel shows band by band; both have the same covariance over frequency, learned from all models
// together and shrunk toward a smooth one. The bare ear has a covariance of
// its own and is joined to the common part, band by band (addBare).
func (law Law) Structured(moments *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense) *mat.SymDense {
	n, models := law.Bands.N, law.Models
	sum := law.withoutLevel(moments)
	within := mat.NewDense(n, n, nil)
	across := make([]float64, n)
	var pairs float64
	for k := range models {
		within.Add(within, law.block(sum, k, k))
		for l := range k {
			b := law.block(sum, k, l)
			for r := range n {
				across[r] += b.At(r, r)
			}
			pairs++
		}
	}
	within.Scale(1/float64(models), within)
	ear, sd := law.shrunkEars(within, draws, prior, law.channelDraws(rows, 0, models))
	modelCorr := make([]float64, n)
	for r := range modelCorr {
		modelCorr[r] = priorModelCorr
		if pairs > 0 {
			modelCorr[r] = (across[r]/(pairs*sd[r]*sd[r]) + earCorrWeight*priorModelCorr) / (draws + earCorrWeight)
		}
	}
	stats.SmoothMean(modelCorr, 2)
	size := law.Width() * n
	out := mat.NewSymDense(size, nil)
	common := mat.NewSymDense(n, nil)
	for r := range n {
		modelCorr[r] = math.Max(0, math.Min(earCorrMost, modelCorr[r]))
	}
	for r := range n {
		for q := r; q < n; q++ {
			common.SetSym(r, q, ear.At(r, q)*math.Sqrt(modelCorr[r]*modelCorr[q]))
		}
	}
	set := func(k, l, r, q int, v float64) { out.SetSym(k*n+r, l*n+q, v) }
	for r := range n {
		for q := range n {
			g := common.At(r, q)
			own := ear.At(r, q) * math.Sqrt((1-modelCorr[r])*(1-modelCorr[q]))
			for k := range models {
				for l := k; l < models; l++ {
					v := g
					if k == l {
						v += own
					}
					set(k, l, r, q, v)
				}
			}
		}
	}
	if law.Bare > 0 {
		law.addBare(out, sum, draws, prior, rows, common, modelCorr, sd)
	}
	return out
}

// addBare fills in the blocks of the bare ears, one for each place of the
// loudspeaker. As under headphones, an ear has a part common to all places and one of
// each place's own, of one covariance over frequency; the common part is joined to
// that of the models (common, with the correlation modelCorr between models and the
// standard deviation sd per band).
func (law Law) addBare(out, sum *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense, common *mat.SymDense, modelCorr, sd []float64) {
	n, models, places := law.Bands.N, law.Models, law.Bare
	within := mat.NewDense(n, n, nil)
	placeCorr := make([]float64, n)
	var pairs float64
	for d := range places {
		within.Add(within, law.block(sum, models+d, models+d))
		for c := range d {
			for r := range n {
				placeCorr[r] += sum.At((models+d)*n+r, (models+c)*n+r)
			}
			pairs++
		}
	}
	within.Scale(1/float64(places), within)
	bare, bareSD := law.shrunkEars(within, draws, prior, law.channelDraws(rows, models, models+places))
	for r := range placeCorr {
		if pairs == 0 {
			placeCorr[r] = 1 // one place: all is common
			continue
		}
		placeCorr[r] = (placeCorr[r]/(pairs*bareSD[r]*bareSD[r]) + earCorrWeight*priorPlaceCorr) / (draws + earCorrWeight)
	}
	if pairs > 0 {
		stats.SmoothMean(placeCorr, 2)
		for r := range placeCorr {
			placeCorr[r] = math.Max(0, math.Min(earCorrMost, placeCorr[r]))
		}
	}
	bareCorr := make([]float64, n)
	for m := range models {
		for d := range places {
			for r := range n {
				bareCorr[r] += sum.At(m*n+r, (models+d)*n+r) / (float64(models*places) * sd[r] * bareSD[r])
			}
		}
	}
	for r := range bareCorr {
		bareCorr[r] = (bareCorr[r] + earCorrWeight*priorBareCorr) / (draws + earCorrWeight)
	}
	stats.SmoothMean(bareCorr, 2)
	for r := range bareCorr {
		bareCorr[r] /= math.Max(0.3, math.Sqrt(modelCorr[r])) // with the common part alone
		bareCorr[r] /= math.Max(0.3, math.Sqrt(placeCorr[r]))
		bareCorr[r] = math.Max(-earCorrMost, math.Min(earCorrMost, bareCorr[r]))
	}
	shared := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			shared.SetSym(r, q, bare.At(r, q)*math.Sqrt(placeCorr[r]*placeCorr[q]))
		}
	}
	rc, rb := stats.SymmetricRoot(common), stats.SymmetricRoot(shared)
	for r := range n {
		for q := range n {
			rb.Set(r, q, bareCorr[r]*rb.At(r, q))
		}
	}
	var cross mat.Dense
	cross.Mul(rc, rb)
	for d := range places {
		k := models + d
		for r := range n {
			for q := range n {
				for m := range models {
					out.SetSym(m*n+r, k*n+q, cross.At(r, q))
				}
				own := bare.At(r, q) * math.Sqrt((1-placeCorr[r])*(1-placeCorr[q]))
				out.SetSym(k*n+r, k*n+q, shared.At(r, q)+own)
				for c := range d {
					out.SetSym((models+c)*n+r, k*n+q, shared.At(r, q))
				}
			}
		}
	}
}

// block is block k, l of moments over the channels of one ear.
func (law Law) block(m *mat.SymDense, k, l int) *mat.Dense {
	n := law.Bands.N
	b := mat.NewDense(n, n, nil)
	for r := range n {
		for q := range n {
			b.Set(r, q, m.At(k*n+r, l*n+q))
		}
	}
	return b
}

// shrunkEars shrinks one channel's covariance over frequency toward a smooth
// one and returns it with the standard deviation per band.
func (law Law) shrunkEars(sum *mat.Dense, draws float64, prior *mat.SymDense, rows *mat.Dense) (*mat.SymDense, []float64) {
	n := law.Bands.N
	v, sd := make([]float64, n), make([]float64, n)
	for r := range n {
		v[r] = (sum.At(r, r) + earSizeWeight*prior.At(r, r)) / (draws + earSizeWeight)
		sd[r] = math.Sqrt(v[r] + earFloorDB*earFloorDB)
	}
	weight := law.shrinkWeight(rows, sd)
	out := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			smooth := sd[r] * sd[q] * math.Exp(-law.Bands.Octaves(r, q)/EarCorrOctaves)
			if r == q {
				smooth *= 1.05
			}
			own := sum.At(r, q) / (draws + earSizeWeight)
			out.SetSym(r, q, (1-weight)*own+weight*smooth)
		}
		stats.AddSym(out, r, r, earFloorDB*earFloorDB)
	}
	return out, sd
}

// shrinkWeight is the weight of the smooth correlation over frequency against
// the listeners' own.
func (law Law) shrinkWeight(rows *mat.Dense, sd []float64) float64 {
	count, n := rows.Dims()
	x := mat.DenseCopyOf(rows)
	for i := range count {
		for r, s := range sd {
			x.Set(i, r, x.At(i, r)/s)
		}
	}
	smooth := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			smooth.SetSym(r, q, math.Exp(-law.Bands.Octaves(r, q)/EarCorrOctaves))
		}
	}
	models := float64(count) / law.Listeners // rows per listener
	return stats.ShrinkWeight(x, smooth, 1+(models-1)*priorModelCorr*priorModelCorr)
}

// withoutLevel refers every channel to its mean level below earLevelHz. A
// level is free in every seating, so it must not count as a difference of ears.
func (law Law) withoutLevel(m *mat.SymDense) *mat.SymDense {
	n, size := law.Bands.N, m.SymmetricDim()
	low := 0
	for low < n && law.Bands.Hz[low] < survey.EarLevelHz {
		low++
	}
	center := func(row []float64) {
		for k := 0; k < size; k += n {
			var mean float64
			for r := range low {
				mean += row[k+r] / float64(low)
			}
			for r := range n {
				row[k+r] -= mean
			}
		}
	}
	half := mat.DenseCopyOf(m)
	for i := range size {
		center(half.RawRowView(i))
	}
	full := mat.DenseCopyOf(half.T())
	for i := range size {
		center(full.RawRowView(i))
	}
	return stats.Symmetric(full)
}

// channelDraws stacks the draws of channels from to to−1: one row per listener
// and channel.
func (law Law) channelDraws(rows *mat.Dense, from, to int) *mat.Dense {
	n := law.Bands.N
	count, _ := rows.Dims()
	out := mat.NewDense(count*(to-from), n, nil)
	for i := range count {
		for k := from; k < to; k++ {
			out.SetRow(i*(to-from)+k-from, rows.RawRowView(i)[k*n:(k+1)*n])
		}
	}
	return out
}
