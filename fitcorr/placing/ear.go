package placing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// Ear is what one ear's level is held against: the survey and the scatter
// about it, on the n position bands.
type Ear struct {
	Survey  *survey.Ear   // nil: this ear says nothing, and the covariances are not read
	Bands   survey.Bands  // n of them
	Scatter *mat.SymDense // n × n, dB², of one seating about the surface at its true position
	Total   *mat.SymDense // n × n, dB², of one survey row: scatter and the ruler's error
}

// Covariance returns V of the package comment, n × n, dB²: that of one seating's level
// about the surface, gain and leak tail included. scale is a factor on the scatter's
// variance, excess (n) the variance of the surface over that of a survey row, noise (n,
// dB²) that of the measurement.
func (m Ear) Covariance(scale float64, excess, noise []float64) *mat.SymDense {
	cov := mat.NewSymDense(m.Bands.N, nil)
	m.SetCovariance(cov, scale, excess, noise)
	return cov
}

// SetCovariance sets cov, n × n, to Covariance.
func (m Ear) SetCovariance(cov *mat.SymDense, scale float64, excess, noise []float64) {
	n := m.Bands.N
	raw, scatter, total := cov.RawSymmetric(), m.Scatter.RawSymmetric(), m.Total.RawSymmetric()
	for i := range n {
		row, own, all := raw.Data[i*raw.Stride+i:][:n-i], scatter.Data[i*scatter.Stride+i:][:n-i], total.Data[i*total.Stride+i:][:n-i]
		tail, other := m.Bands.LeakTail[i:][:n-i], excess[i:][:n-i]
		last, factor := math.NaN(), 0.0
		for j := range row {
			if other[j] != last { // the same throughout a zone
				last, factor = other[j], math.Sqrt(other[0]*other[j])
			}
			row[j] = scale*own[j] + factor*all[j] + GainSD*GainSD + leakTailSD*leakTailSD*tail[0]*tail[j]
		}
		row[0] += noise[i]
	}
}
