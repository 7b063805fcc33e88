package placing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// Ear is what one ear's level is held against: the survey and the scatter
// about it, on the position bands.
type Ear struct {
	Survey  *survey.Ear
	Bands   survey.Bands
	Scatter *mat.SymDense // dB², of one seating about the surface at its true position
	Total   *mat.SymDense // dB², of one survey row: scatter and the ruler's error
}

// Nuisance standard deviations in dB: the gain of the microphone and what a
// leak leaves above the leak's own range, (300 Hz/f)² in shape.
const (
	GainSD     = 5.0
	leakTailSD = 0.5
)

// addNuisance adds the covariance of level and leak tail.
func (m Ear) addNuisance(cov *mat.SymDense) {
	n := m.Bands.N
	tail := make([]float64, n)
	for i, hz := range m.Bands.Hz {
		tail[i] = math.Pow(survey.LowHz/hz, 2)
	}
	raw := cov.RawSymmetric()
	for i := range n {
		row := raw.Data[i*raw.Stride : i*raw.Stride+n]
		for j := i; j < n; j++ {
			row[j] = row[j] + GainSD*GainSD + leakTailSD*leakTailSD*tail[i]*tail[j]
		}
	}
}

// Covariance returns the covariance of one seating's level about the surface
// at d, nuisances included: scatter·scale + survey error + noise.
func (m Ear) Covariance(scale float64, excess, noise []float64) *mat.SymDense {
	n := m.Bands.N
	cov := mat.NewSymDense(n, nil)
	raw, scatter, total := cov.RawSymmetric(), m.Scatter.RawSymmetric(), m.Total.RawSymmetric()
	for i := range n {
		row := raw.Data[i*raw.Stride : i*raw.Stride+n]
		for j := i; j < n; j++ {
			row[j] = scale*scatter.Data[i*scatter.Stride+j] + math.Sqrt(excess[i]*excess[j])*total.Data[i*total.Stride+j]
		}
		row[i] += noise[i]
	}
	m.addNuisance(cov)
	return cov
}
