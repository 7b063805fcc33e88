package effects

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Law estimates how ears differ on a layout. Second moments are over the channels of one ear:
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
	n := people.SymmetricDim()
	listeners := law.Listeners
	var ratio, square float64
	for i := range n {
		person := (law.varianceWithoutLevel(people, i)+earSizeWeight*prior.At(i, i))/(listeners+earSizeWeight) + earFloorDB*earFloorDB
		ratio += law.varianceWithoutLevel(fixture, i) / person / float64(n)
		square++
		for j := range i {
			square += 2 * now.At(i, j) * now.At(i, j) / (now.At(i, i) * now.At(j, j))
		}
	}
	independent := float64(n*n) / square
	return math.Max(1, (fixtureEarWeight+independent*ratio)/(fixtureEarWeight+independent))
}

// Ear returns (left ± right)/√2, by the sign, of the columns of m, which has dim rows: width·n rows.
func (law Law) Ear(m *mat.Dense, sign float64) *mat.Dense {
	n := law.Bands.N
	_, cols := m.Dims()
	out := mat.NewDense(law.Width()*n, cols, nil)
	for i := range law.Width() * n {
		left, right, row := m.RawRowView(law.Channel(0, i/n)+i%n), m.RawRowView(law.Channel(1, i/n)+i%n), out.RawRowView(i)
		for c := range row {
			row[c] = math.Sqrt(0.5) * (left[c] + sign*right[c])
		}
	}
	return out
}

// AddEar adds count times the covariance of (left ± right)/√2, by the sign, of vectors with the
// covariance cov, dim square, to one of width·n.
func (law Law) AddEar(to *mat.SymDense, count float64, cov *mat.Dense, sign float64) {
	n, raw := law.Bands.N, to.RawSymmetric()
	for i := range raw.N {
		left, right := cov.RawRowView(law.Channel(0, i/n)+i%n), cov.RawRowView(law.Channel(1, i/n)+i%n)
		sum := raw.Data[i*raw.Stride : i*raw.Stride+raw.N]
		for j := i; j < raw.N; j++ {
			l, r := law.Channel(0, j/n)+j%n, law.Channel(1, j/n)+j%n
			sum[j] += count * (left[l] + right[r] + sign*(left[r]+right[l])) / 2
		}
	}
}

// Structured turns second moments (dB², width·n square, as AddEar has them) of so
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
// its own: as under headphones, a part common to all places of the loudspeaker and one of each
// place's own. With G the common part of the models and B that of the places, both n × n, the block
// between any model and any place is
//
//	G^½·diag(c)·B^½,
//
// c being the correlation of the two common parts per band: positive definite whatever c
// is, within ±earCorrMost.
func (law Law) Structured(moments *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense) *mat.SymDense {
	n, size := law.Bands.N, law.Width()*law.Bands.N
	seen := sample{law.withoutLevel(moments), draws, prior, rows}
	out := mat.NewSymDense(size, nil)
	models := law.alike(seen, 0, law.Models, priorModelCorr)
	common := models.fill(out)
	if law.Bare == 0 {
		return out
	}
	places := law.alike(seen, law.Models, law.Models+law.Bare, priorPlaceCorr)
	if law.Bare == 1 { // all is common
		for r := range places.corr {
			places.corr[r] = 1
		}
	}
	root := stats.SymmetricRoot(places.fill(out))
	for r, c := range law.bareCorrelation(seen, models, places) {
		for q := range n {
			root.Set(r, q, c*root.At(r, q))
		}
	}
	var cross mat.Dense
	cross.Mul(stats.SymmetricRoot(common), root)
	for d := places.from; d < places.to; d++ {
		for m := range models.to {
			for r := range n {
				for q := range n {
					out.SetSym(m*n+r, d*n+q, cross.At(r, q))
				}
			}
		}
	}
	return out
}

// sample is what is known of how ears differ: second moments over the channels of one ear
// (dB², width·n square), of how many draws, these themselves (draws × width·n, dB), and the
// prior covariance of one channel (n square, dB²).
type sample struct {
	sum   *mat.SymDense
	draws float64
	prior *mat.SymDense
	rows  *mat.Dense
}

// alike is what channels of one ear have in common that differ by the headphone alone, or by
// the place of the loudspeaker: one covariance over frequency, of which a share is the same in all.
type alike struct {
	from, to int           // channels
	cov      *mat.SymDense // of each, n square, dB²
	sd, corr []float64     // per band: of each, dB; between any two
}

// alike estimates it; prior is the correlation toward which that between two is shrunk.
func (law Law) alike(seen sample, from, to int, prior float64) alike {
	n := law.Bands.N
	within := mat.NewDense(n, n, nil)
	corr := make([]float64, n)
	var pairs float64
	for k := from; k < to; k++ {
		within.Add(within, law.block(seen.sum, k, k))
		for l := from; l < k; l++ {
			for r := range n {
				corr[r] += seen.sum.At(k*n+r, l*n+r)
			}
			pairs++
		}
	}
	within.Scale(1/float64(to-from), within)
	cov, sd := law.shrunkEars(within, seen.draws, seen.prior, law.channelDraws(seen.rows, from, to))
	for r := range corr {
		if pairs == 0 {
			corr[r] = prior
			continue
		}
		corr[r] = (corr[r]/(pairs*sd[r]*sd[r]) + earCorrWeight*prior) / (seen.draws + earCorrWeight)
	}
	stats.SmoothMean(corr, 2)
	for r := range corr {
		corr[r] = math.Max(0, math.Min(earCorrMost, corr[r]))
	}
	return alike{from, to, cov, sd, corr}
}

// fill writes the blocks of the channels, and returns the one between any two of them:
// √corr_r·cov_rq·√corr_q, n square.
func (a alike) fill(out *mat.SymDense) (common *mat.SymDense) {
	n := len(a.corr)
	common = mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			common.SetSym(r, q, a.cov.At(r, q)*math.Sqrt(a.corr[r]*a.corr[q]))
		}
	}
	for r := range n {
		for q := range n {
			own := a.cov.At(r, q) * math.Sqrt((1-a.corr[r])*(1-a.corr[q]))
			for k := a.from; k < a.to; k++ {
				out.SetSym(k*n+r, k*n+q, common.At(r, q)+own)
				for l := k + 1; l < a.to; l++ {
					out.SetSym(k*n+r, l*n+q, common.At(r, q))
				}
			}
		}
	}
	return common
}

// bareCorrelation is the correlation per band of what models and what places have in
// common: that of an ear under a headphone and bare, shrunk toward priorBareCorr, over the
// roots of how far each of both is common.
func (law Law) bareCorrelation(seen sample, models, places alike) []float64 {
	n := law.Bands.N
	corr := make([]float64, n)
	for m := models.from; m < models.to; m++ {
		for d := places.from; d < places.to; d++ {
			for r := range n {
				corr[r] += seen.sum.At(m*n+r, d*n+r) / (float64(law.Models*law.Bare) * models.sd[r] * places.sd[r])
			}
		}
	}
	for r := range corr {
		corr[r] = (corr[r] + earCorrWeight*priorBareCorr) / (seen.draws + earCorrWeight)
	}
	stats.SmoothMean(corr, 2)
	for r := range corr {
		corr[r] /= math.Max(0.3, math.Sqrt(models.corr[r]))
		corr[r] /= math.Max(0.3, math.Sqrt(places.corr[r]))
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

// varianceWithoutLevel is entry (i, i) of withoutLevel.
func (law Law) varianceWithoutLevel(m *mat.SymDense, i int) float64 {
	n, low := law.Bands.N, law.lowBands()
	from := i / n * n
	var across, all float64
	for r := from; r < from+low; r++ {
		across += m.At(i, r) / float64(low)
		for q := from; q < from+low; q++ {
			all += m.At(r, q) / float64(low*low)
		}
	}
	return m.At(i, i) - 2*across + all
}

// lowBands is how many bands lie below earLevelHz.
func (law Law) lowBands() int {
	low := 0
	for low < law.Bands.N && law.Bands.Hz[low] < survey.EarLevelHz {
		low++
	}
	return low
}

// withoutLevel refers every channel to its mean level below earLevelHz. A
// level is free in every seating, so it must not count as a difference of ears.
func (law Law) withoutLevel(m *mat.SymDense) *mat.SymDense {
	n, size, low := law.Bands.N, m.SymmetricDim(), law.lowBands()
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
	full := stats.Transposed(half)
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
