package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// SmoothCov is a covariance over the position bands described by few numbers:
// a standard deviation per band, smooth over frequency, and a correlation that
// falls exponentially with distance in octaves, a share Nugget of the variance
// being uncorrelated. Few numbers because few seatings estimate it.
type SmoothCov struct {
	SD     []float64 `json:"sd"`    // dB per position band
	Width  float64   `json:"width"` // octaves
	Nugget float64   `json:"nugget"`
}

// Matrix is the covariance over the position bands, bands.N square, dB².
func (c SmoothCov) Matrix(bands survey.Bands) *mat.SymDense {
	m := mat.NewSymDense(bands.N, nil)
	for i := range bands.N {
		for j := i; j < bands.N; j++ {
			m.SetSym(i, j, c.SD[i]*c.SD[j]*c.correlation(bands.Octaves(i, j)))
		}
	}
	return m
}

func (c SmoothCov) correlation(octaves float64) float64 {
	if octaves == 0 {
		return 1
	}
	return (1 - c.Nugget) * math.Exp(-octaves/c.Width)
}

// momentSum gathers second moments E[εε'] of curves.
type momentSum struct {
	sum   *mat.SymDense
	count [][]float64 // weight per pair of bands
}

func newMomentSum(n int) *momentSum {
	m := &momentSum{sum: mat.NewSymDense(n, nil), count: make([][]float64, n)}
	for i := range m.count {
		m.count[i] = make([]float64, n)
	}
	return m
}

// add adds resid·resid' + extra with the given weight on the bands that count.
func (m *momentSum) add(resid []float64, extra mat.Symmetric, variance []float64, weight float64) {
	for i := range resid {
		if variance[i] >= survey.MissingVar {
			continue
		}
		for j := i; j < len(resid); j++ {
			if variance[j] >= survey.MissingVar {
				continue
			}
			v := resid[i] * resid[j]
			if extra != nil {
				v += extra.At(i, j)
			}
			if i == j {
				v -= math.Min(variance[i], 0.9*v) // known noise is not scatter
			}
			m.sum.SetSym(i, j, m.sum.At(i, j)+weight*v)
			m.count[i][j] += weight
		}
	}
}

// fit describes the moments by a SmoothCov; half is the smoothing in position
// bands on each side, and prior with priorWeight curves' worth steadies it.
func (m *momentSum) fit(bands survey.Bands, half int, prior SmoothCov, priorWeight float64) SmoothCov {
	n := bands.N
	v := make([]float64, n)
	valid := make([]bool, n)
	for i := range v {
		v[i] = (m.sum.At(i, i) + priorWeight*prior.SD[i]*prior.SD[i]) / (m.count[i][i] + priorWeight)
		valid[i] = m.count[i][i]+priorWeight > 0
	}
	stats.SmoothVariance(v, valid, half)
	out := SmoothCov{SD: make([]float64, n)}
	for i := range v {
		out.SD[i] = math.Sqrt(math.Max(v[i], 1e-4))
	}
	// Mean correlation per lag, up to an octave and a half.
	lags := min(9, n-1)
	corr, weight := make([]float64, lags+1), make([]float64, lags+1)
	for lag := 1; lag <= lags; lag++ {
		for i := 0; i+lag < n; i++ {
			j := i + lag
			w := m.count[i][j]
			corr[lag] += m.sum.At(i, j) / (out.SD[i] * out.SD[j])
			weight[lag] += w
			corr[lag] += priorWeight * prior.correlation(bands.Octaves(i, j))
			weight[lag] += priorWeight
		}
	}
	best := math.Inf(1)
	step := bands.Octaves(0, 1)
	for _, width := range []float64{0.08, 0.12, 0.17, 0.24, 0.33, 0.47, 0.66, 0.93, 1.3, 1.9, 2.6} {
		for _, nugget := range []float64{0.01, 0.03, 0.06, 0.1, 0.2, 0.35, 0.5} {
			c := SmoothCov{Width: width, Nugget: nugget}
			var cost float64
			for lag := 1; lag <= lags; lag++ {
				if weight[lag] > 0 {
					d := corr[lag]/weight[lag] - c.correlation(float64(lag)*step)
					cost += d * d / float64(lag)
				}
			}
			if cost < best {
				best = cost
				out.Width, out.Nugget = width, nugget
			}
		}
	}
	return out
}

// Shares of the ruler's error: of what both cups have in common and of each one's own
// (common practice, no source).
const (
	rulerCommon = 0.95
	rulerOwn    = 0.31
)

// fixtureScatter tells the scatter of a seating about the surface from the
// ruler's error: each survey row's position is estimated with its nominal
// displacement as prior, and what is left belongs to the scatter. Ordinary
// fixture seatings join in with a wide prior. It sets scatter and total of
// both ears and returns the ruler's standard deviation per axis and what
// describes the two covariances.
func fixtureScatter(rows []seat.Seating, ordinary []seat.Seating, models *[2]placing.Ear, slip [2][]float64) (ruler [3]float64, scatter, total [2]SmoothCov) {
	ruler = [3]float64{0.4, 0.4, 0.8}
	var start [2]SmoothCov
	for e := range models {
		m := &models[e]
		if m.Survey == nil {
			continue
		}
		start[e] = SmoothCov{SD: joinScatter(m), Width: 0.33, Nugget: 0.1}
		m.Total = start[e].Matrix(m.Bands)
		m.Scatter = start[e].Matrix(m.Bands)
	}
	wide := placing.FixturePrior()
	current := start
	pl := placing.NewPlacer(models)
	// Where a seating was in the last round is where the next one climbs from.
	before := make([]*[placing.HeadsetDim]float64, len(rows)+len(ordinary))
	for range 6 {
		var sums [2]*momentSum
		for e := range models {
			sums[e] = newMomentSum(survey.NewBands().N)
		}
		var moved, count [3]float64
		visit := func(k int, s seat.Seating, prior placing.Prior, lever func(e int) float64, survey bool) {
			o := placing.Observe(s, models)
			p, ok := pl.MostLikely(o, prior, before[k])
			if !ok {
				return
			}
			before[k] = &p.Pos
			for e := range models {
				// A seating that no place explains says nothing of how others scatter.
				if !o.Present[e] || !survey && p.Misfit[e] > DoubtFar*math.Max(1, p.Dof[e]) {
					continue
				}
				m := &models[e]
				resid, extra := residualMoments(m, o, p, e)
				sums[e].add(resid, extra, o.Variance[e], 1/lever(e))
				sums[e].scaleCount(o.Variance[e], 1-1/lever(e))
			}
			if survey {
				for a := range 3 {
					for e := range models {
						if o.Present[e] {
							d := p.Pos[3*e+a] - prior.Mean[3*e+a]
							moved[a] += d*d + p.Cov.At(3*e+a, 3*e+a)
							count[a]++
						}
					}
				}
			}
		}
		for i, s := range rows {
			v := s.Survey.Vector()
			prior := placing.Prior{Cov: placing.HeadsetCov(stats.Scaled3(ruler, rulerCommon), stats.Scaled3(ruler, rulerOwn))}
			for a := range 3 {
				prior.Mean[a], prior.Mean[3+a] = v[a], v[a]
			}
			if slip[0][i] > 1 || slip[1][i] > 1 {
				continue
			}
			before[i] = &prior.Mean // set to a fraction of a millimetre
			visit(i, s, prior, func(e int) float64 { return models[e].Survey.LeftOver(i) }, true)
		}
		for i, s := range ordinary {
			visit(len(rows)+i, s, wide, func(int) float64 { return 1 }, false)
		}
		for e := range models {
			m := &models[e]
			if m.Survey == nil {
				continue
			}
			current[e] = sums[e].fit(m.Bands, 2, start[e], 1)
			m.Scatter = current[e].Matrix(m.Bands)
		}
		for a := range 3 {
			// One row's worth of prior at half a millimetre (common practice, no source).
			ruler[a] = math.Sqrt((moved[a] + 0.25) / (count[a] + 1))
		}
	}
	return ruler, current, start
}

// scaleCount adds weight without moment: the share of a curve's scatter that
// its own part in the surface took away.
func (m *momentSum) scaleCount(variance []float64, by float64) {
	for i := range variance {
		for j := i; j < len(variance); j++ {
			if variance[i] < survey.MissingVar && variance[j] < survey.MissingVar {
				m.count[i][j] += by
			}
		}
	}
}

// joinScatter returns the survey's scatter on the position bands.
func joinScatter(m *placing.Ear) []float64 {
	sd := make([]float64, m.Bands.N)
	for r := range sd {
		lo, hi := m.Bands.Kept(r)
		var sum, n float64
		for b := lo; b < hi; b++ {
			if m.Survey.Valid[b] {
				sum += m.Survey.Scatter[b] * m.Survey.Scatter[b]
				n++
			}
		}
		sd[r] = math.Max(0.05, math.Sqrt(sum/max(n, 1)))
	}
	return sd
}

// residualMoments returns the expected residual of a placed seating with
// level and leak tail taken out, and the covariance of what is not known
// about it: position, level, tail.
func residualMoments(m *placing.Ear, o placing.Observation, p placing.Mode, e int) ([]float64, *mat.SymDense) {
	n := m.Bands.N
	// Given the position, ε̂ = Σ_ε (Σ_ε + nuisance + noise)⁻¹ r, and
	// Cov(ε) = Σ_ε − Σ_ε V⁻¹ Σ_ε with V the marginal covariance, position included.
	v := m.Covariance(1, p.Excess[e], o.Variance[e])
	var jc, jcj mat.Dense
	block := mat.NewDense(3, 3, nil)
	for a := range 3 {
		for b := range 3 {
			block.Set(a, b, p.Cov.At(3*e+a, 3*e+b))
		}
	}
	jc.Mul(p.Slope[e], block)
	jcj.Mul(&jc, p.Slope[e].T())
	resid := make([]float64, n)
	extra := mat.NewSymDense(n, nil)
	chol, ok := stats.Factorize(v)
	if !ok {
		return resid, extra
	}
	// Conditional mean given the position estimate.
	scat := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			noise := 0.0
			if i == j && o.Variance[e][i] < survey.MissingVar {
				noise = o.Variance[e][i]
			}
			scat.SetSym(i, j, m.Scatter.At(i, j)+noise)
		}
	}
	x := mat.NewDense(n, 1, append([]float64(nil), p.Resid[e]...))
	chol.Solve(x)
	mean := mat.NewVecDense(n, resid)
	mean.MulVec(scat, mat.VecDenseCopyOf(x.ColView(0)))
	vs := mat.DenseCopyOf(scat)
	chol.Solve(vs)
	var svs, k, kj, cov mat.Dense
	svs.Mul(scat, vs)
	// A general product is many times as fast as that of two symmetric ones.
	k.Mul(mat.DenseCopyOf(scat), mat.DenseCopyOf(chol.Inverse())) // Σ V⁻¹
	kj.Mul(&k, &jcj)
	cov.Mul(&kj, k.T())
	for i := range n {
		for j := i; j < n; j++ {
			extra.SetSym(i, j, scat.At(i, j)-svs.At(i, j)+cov.At(i, j))
		}
	}
	return resid, extra
}
