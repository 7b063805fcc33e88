package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A headset position is six numbers: the left ear's three axes, then the right
// ear's. The cups hang on one headband, so both ears share most of it.
const headsetDim = 6

// earModel is what one ear's level is held against: the survey and the scatter
// about it, on the position bands.
type earModel struct {
	survey  *EarSurvey
	bands   positionBands
	scatter *mat.SymDense // dB², of one seating about the surface at its true position
	total   *mat.SymDense // dB², of one survey row: scatter and the ruler's error
}

// Nuisance standard deviations in dB: the gain of the microphone and what a
// leak leaves above the leak's own range, (300 Hz/f)² in shape.
const (
	gainSD     = 5.0
	leakTailSD = 0.5
)

// addNuisance adds the covariance of level and leak tail.
func (m earModel) addNuisance(cov *mat.SymDense) {
	n := m.bands.n
	tail := make([]float64, n)
	for i, hz := range m.bands.hz {
		tail[i] = math.Pow(positionLowHz/hz, 2)
	}
	raw := cov.RawSymmetric()
	for i := range n {
		row := raw.Data[i*raw.Stride : i*raw.Stride+n]
		for j := i; j < n; j++ {
			row[j] = row[j] + gainSD*gainSD + leakTailSD*leakTailSD*tail[i]*tail[j]
		}
	}
}

// covariance returns the covariance of one seating's level about the surface
// at d, nuisances included: scatter·scale + survey error + noise.
func (m earModel) covariance(scale float64, excess, noise []float64) *mat.SymDense {
	n := m.bands.n
	cov := mat.NewSymDense(n, nil)
	raw, scatter, total := cov.RawSymmetric(), m.scatter.RawSymmetric(), m.total.RawSymmetric()
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

// observation is one seating's blocked-entrance level, both ears, relative to
// the survey's level at the marked position.
type observation struct {
	index    int // into the seatings of the model
	present  [2]bool
	level    [2][]float64
	variance [2][]float64
}

func observe(s Seating, index int, models *[2]earModel) observation {
	o := observation{index: index}
	for e := range models {
		m := &models[e]
		if m.survey == nil {
			continue
		}
		rel := s.Ears[e]
		rel.LevelDB = append([]float64(nil), rel.LevelDB...)
		for b := range rel.LevelDB {
			if b < len(m.survey.BaseDB) {
				rel.LevelDB[b] -= m.survey.BaseDB[b]
			}
		}
		o.level[e], o.variance[e] = m.bands.join(rel, m.survey.Valid)
		count := 0
		for _, v := range o.variance[e] {
			if v < missingVar {
				count++
			}
		}
		o.present[e] = 3*count >= m.bands.n
	}
	return o
}

// positionPrior is a normal prior of a headset position.
type positionPrior struct {
	mean [headsetDim]float64
	cov  *mat.SymDense // headsetDim
}

// headsetCov builds the covariance of a headset position from the standard
// deviations of what the ears share and of what each has of its own.
func headsetCov(common, own [3]float64) *mat.SymDense {
	c := mat.NewSymDense(headsetDim, nil)
	for a := range 3 {
		v, w := common[a]*common[a], own[a]*own[a]
		c.SetSym(a, a, v+w)
		c.SetSym(3+a, 3+a, v+w)
		c.SetSym(a, 3+a, v)
	}
	return c
}

// fixturePrior is wide enough not to matter where the survey sees: a seating
// is a few millimetres off and the headband hardly lets the cups differ.
func fixturePrior() positionPrior {
	return positionPrior{cov: headsetCov([3]float64{8, 8, 8}, [3]float64{2, 2, 2})}
}

func symmetric(d *mat.Dense) *mat.SymDense {
	n, _ := d.Dims()
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (d.At(i, j)+d.At(j, i))/2)
		}
	}
	return s
}

// estimates turns a headset position into the two ears' and the headset's
// estimate; the headset's is the mean of both ears.
func estimates(pos [headsetDim]float64, cov, prior mat.Symmetric) (ears [2]Estimate, headset Estimate) {
	for a := range 3 {
		headset.Value[a] = (pos[a] + pos[3+a]) / 2
		for b := range 3 {
			for e := range 2 {
				ears[e].Cov[a][b] = cov.At(3*e+a, 3*e+b)
				headset.Cov[a][b] += (cov.At(3*e+a, 3*e+b) + cov.At(3*e+a, 3*(1-e)+b)) / 4
			}
		}
		for e := range 2 {
			ears[e].Value[a] = pos[3*e+a]
		}
	}
	const seen = 0.5 // of the prior's variance left
	for a := range 3 {
		ph := (prior.At(a, a) + prior.At(3+a, 3+a) + 2*prior.At(a, 3+a)) / 4
		headset.Seen[a] = headset.Cov[a][a] < seen*ph
		for e := range 2 {
			ears[e].Seen[a] = ears[e].Cov[a][a] < seen*prior.At(3*e+a, 3*e+a)
		}
	}
	return ears, headset
}
