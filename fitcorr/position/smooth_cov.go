package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// SmoothCov is a covariance over the position bands described by few numbers:
// a standard deviation per band, smooth over frequency, and a correlation that
// falls exponentially with distance in octaves, the fraction Nugget of the variance
// being uncorrelated (a nugget, as geostatistics has it). Few numbers because few seatings estimate it.
type SmoothCov struct {
	SD     []float64 `json:"sd"`     // dB per position band
	Width  float64   `json:"width"`  // octaves
	Nugget float64   `json:"nugget"` // 0 to 1
}

// Matrix is the covariance over the position bands, bands.N square, dB². It panics of the
// zero value.
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
	sum   *mat.SymDense // n × n, dB²
	count [][]float64   // n × n: weight per pair of bands
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

// scaleCount adds weight without moment: for what of a curve's scatter its own part in the
// surface took away.
func (m *momentSum) scaleCount(variance []float64, by float64) {
	for i := range variance {
		for j := i; j < len(variance); j++ {
			if variance[i] < survey.MissingVar && variance[j] < survey.MissingVar {
				m.count[i][j] += by
			}
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
