package effects

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Law estimates how ears differ on a layout. Moments are over the channels of one ear:
// width·n square, dB², block k, l at rows k·n and columns l·n.
type Law struct {
	Layout
	Listeners float64 // how many listeners the moments are of, a count
}

// FixtureEar is the variance of the fixture's ear over that of a person's: the mean over
// all bands of the ratio of second moments, with a prior of 1, which it does not fall
// below. The ratio is worth as many draws as bands are independent of each other by the
// correlation between them (now): (Σλ)²/Σλ² of its eigenvalues (Box, Ann. Math. Stat.
// 25(2), 1954). fixture and people are second moments, people's summed over the
// listeners; it is a ratio, 1 or more.
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
// vector with the given mean (length dim) and the covariance cov + root·root'. cov is dim
// square, nil for none, root has dim rows.
func (law Law) AddEarMoment(to [2]*mat.SymDense, mean *mat.VecDense, cov, root *mat.Dense) {
	n, size := law.Bands.N, law.Width()*law.Bands.N
	_, cols := root.Dims()
	half := math.Sqrt(0.5)
	for part, sign := range []float64{1, -1} {
		y := mat.NewDense(size, cols+1, nil)
		for i := range size {
			l, r := law.Channel(0, i/n)+i%n, law.Channel(1, i/n)+i%n
			row := y.RawRowView(i)
			a, b := root.RawRowView(l), root.RawRowView(r)
			for c := range a {
				row[c] = half * (a[c] + sign*b[c])
			}
			row[cols] = half * (mean.AtVec(l) + sign*mean.AtVec(r))
			if cov == nil {
				continue
			}
			left, right := cov.RawRowView(l), cov.RawRowView(r)
			for j := i; j < size; j++ {
				l, r := law.Channel(0, j/n)+j%n, law.Channel(1, j/n)+j%n
				stats.AddSym(to[part], i, j, (left[l]+right[r]+sign*(left[r]+right[l]))/2)
			}
		}
		// A few columns at a time stay in the cache.
		for from := 0; from <= cols; from += 64 {
			to[part].SymRankK(to[part], 1, y.Slice(0, size, from, min(from+64, cols+1)))
		}
	}
}

// Structured turns second moments (dB², width·n square, as AddEarMoment adds them) of so
// many draws into a covariance over the channels of one ear, of the same size. rows are the
// draws themselves, draws × width·n, dB.
//
// What an ear does under one headphone is a part common to all models and a part of the
// model's own (compound symmetry). With E the covariance over frequency (n × n) of an ear
// under any headphone and ρ the correlation between models, per band, block k, l is
//
//	√ρ_r·E_rq·√ρ_q  +  [k = l]·√(1−ρ_r)·E_rq·√(1−ρ_q).
//
// E is learned from all models together and shrunk toward a smooth one, ρ shown by the
// panel band by band and shrunk toward priorModelCorr. The bare ear has a covariance of
// its own and is joined to the common part, band by band (addBare).
func (law Law) Structured(moments *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense) *mat.SymDense {
	n, models := law.Bands.N, law.Models
	sum := law.withoutLevel(moments)
	within := mat.NewDense(n, n, nil)
	modelCorr := make([]float64, n)
	var pairs float64
	for k := range models {
		within.Add(within, law.block(sum, k, k))
		for l := range k {
			b := law.block(sum, k, l)
			for r := range n {
				modelCorr[r] += b.At(r, r)
			}
			pairs++
		}
	}
	within.Scale(1/float64(models), within)
	ear, sd := law.shrunkEars(within, draws, prior, law.channelDraws(rows, 0, models))
	for r := range modelCorr {
		if pairs == 0 {
			modelCorr[r] = priorModelCorr
			continue
		}
		modelCorr[r] = (modelCorr[r]/(pairs*sd[r]*sd[r]) + earCorrWeight*priorModelCorr) / (draws + earCorrWeight)
	}
	stats.SmoothMean(modelCorr, 2)
	for r := range n {
		modelCorr[r] = math.Max(0, math.Min(earCorrMost, modelCorr[r]))
	}
	common := commonPart(ear, modelCorr)
	size := law.Width() * n
	out := mat.NewSymDense(size, nil)
	for r := range n {
		for q := range n {
			own := ear.At(r, q) * math.Sqrt((1-modelCorr[r])*(1-modelCorr[q]))
			for k := range models {
				for l := k; l < models; l++ {
					v := common.At(r, q)
					if k == l {
						v += own
					}
					out.SetSym(k*n+r, l*n+q, v)
				}
			}
		}
	}
	if law.Bare > 0 {
		law.addBare(out, sum, draws, prior, rows, common, modelCorr, sd)
	}
	return out
}

// commonPart is √corr_r·cov_rq·√corr_q, n × n.
func commonPart(cov *mat.SymDense, corr []float64) *mat.SymDense {
	n := len(corr)
	out := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			out.SetSym(r, q, cov.At(r, q)*math.Sqrt(corr[r]*corr[q]))
		}
	}
	return out
}

// addBare fills in the blocks of the bare ears, one for each place of the
// loudspeaker. As under headphones, an ear has a part common to all places and one of
// each place's own, of one covariance over frequency (compound symmetry). With G the common
// part of the models and B that of the places, both n × n, the block between any model and
// any place is
//
//	G^½·diag(c)·B^½,
//
// c being the correlation of the two common parts per band: positive definite whatever c
// is, within ±earCorrMost. common is G; modelCorr and sd (dB) are the models' correlation
// and standard deviation per band.
func (law Law) addBare(out, sum *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense, common *mat.SymDense, modelCorr, sd []float64) {
	n, models, places := law.Bands.N, law.Models, law.Bare
	within := mat.NewDense(n, n, nil)
	for d := range places {
		within.Add(within, law.block(sum, models+d, models+d))
	}
	within.Scale(1/float64(places), within)
	bare, bareSD := law.shrunkEars(within, draws, prior, law.channelDraws(rows, models, models+places))
	placeCorr := law.placeCorrelation(sum, draws, bareSD)
	bareCommon := commonPart(bare, placeCorr)
	rc, rb := stats.SymmetricRoot(common), stats.SymmetricRoot(bareCommon)
	for r, c := range law.bareCorrelation(sum, draws, sd, bareSD, modelCorr, placeCorr) {
		for q := range n {
			rb.Set(r, q, c*rb.At(r, q))
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
				out.SetSym(k*n+r, k*n+q, bareCommon.At(r, q)+own)
				for c := range d {
					out.SetSym((models+c)*n+r, k*n+q, bareCommon.At(r, q))
				}
			}
		}
	}
}

// placeCorrelation is the correlation of the bare ear between two places of the
// loudspeaker, per band, shrunk toward priorPlaceCorr; 1 with one place, where all is common.
// sd is the bare ear's standard deviation per band, dB.
func (law Law) placeCorrelation(sum *mat.SymDense, draws float64, sd []float64) []float64 {
	n, models := law.Bands.N, law.Models
	corr := make([]float64, n)
	var pairs float64
	for d := range law.Bare {
		for c := range d {
			for r := range n {
				corr[r] += sum.At((models+d)*n+r, (models+c)*n+r)
			}
			pairs++
		}
	}
	for r := range corr {
		if pairs == 0 {
			corr[r] = 1
			continue
		}
		corr[r] = (corr[r]/(pairs*sd[r]*sd[r]) + earCorrWeight*priorPlaceCorr) / (draws + earCorrWeight)
	}
	if pairs > 0 {
		stats.SmoothMean(corr, 2)
		for r := range corr {
			corr[r] = math.Max(0, math.Min(earCorrMost, corr[r]))
		}
	}
	return corr
}

// bareCorrelation is the correlation per band of what models and what places have in
// common: that of an ear under a headphone and bare, shrunk toward priorBareCorr, over the
// roots of how far each of both is common.
func (law Law) bareCorrelation(sum *mat.SymDense, draws float64, sd, bareSD, modelCorr, placeCorr []float64) []float64 {
	n, models, places := law.Bands.N, law.Models, law.Bare
	corr := make([]float64, n)
	for m := range models {
		for d := range places {
			for r := range n {
				corr[r] += sum.At(m*n+r, (models+d)*n+r) / (float64(models*places) * sd[r] * bareSD[r])
			}
		}
	}
	for r := range corr {
		corr[r] = (corr[r] + earCorrWeight*priorBareCorr) / (draws + earCorrWeight)
	}
	stats.SmoothMean(corr, 2)
	for r := range corr {
		corr[r] /= math.Max(0.3, math.Sqrt(modelCorr[r]))
		corr[r] /= math.Max(0.3, math.Sqrt(placeCorr[r]))
		corr[r] = math.Max(-earCorrMost, math.Min(earCorrMost, corr[r]))
	}
	return corr
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
