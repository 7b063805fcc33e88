package seat

import (
	"math"

	"asworn/fitcorr/stats"
)

// Estimate is a position with its uncertainty; units per axis: mm, mm, degrees. The zero
// value is a position of 0 that is known for sure.
type Estimate struct {
	Value [3]float64    `json:"value"`
	Cov   [3][3]float64 `json:"cov"` // in products of the axes' units
	// Confounded is the fraction, 0 to 1, of the variance on each axis that comes
	// from not knowing ear shape from position.
	Confounded [3]float64 `json:"confounded"`
	// Seen reports whether the data say more than the prior about an axis.
	Seen [3]bool `json:"seen"`
	DF   float64 `json:"df"` // degrees of freedom of the t intervals; 0 = normal
}

// Apart is one position less another that was estimated independently of it: covariances
// add, with the degrees of freedom of both (Welch and Satterthwaite: JCGM 100:2008, G.4.1).
func Apart(at, from Estimate) Estimate {
	d := Estimate{DF: stats.PooledDF(at.PlaneVariance(), at.DF, from.PlaneVariance(), from.DF)}
	for a := range 3 {
		d.Value[a] = at.Value[a] - from.Value[a]
		for b := range 3 {
			d.Cov[a][b] = at.Cov[a][b] + from.Cov[a][b]
		}
	}
	return d
}

// PlaneVariance is the variance forward plus that up, mm².
func (e Estimate) PlaneVariance() float64 { return e.Cov[0][0] + e.Cov[1][1] }

// Coverage is the coverage factor of its intervals at a confidence.
func (e Estimate) Coverage(confidence float64) float64 { return stats.Coverage(confidence, e.DF) }

// Half is half the interval of one axis at a confidence. It is in mm or degrees, by
// Student's t with the estimate's degrees of freedom; confidence is a probability, 0 to
// 1.
func (e Estimate) Half(a Axis, confidence float64) float64 {
	return e.Coverage(confidence) * math.Sqrt(math.Max(0, e.Cov[a][a]))
}

// Told reports whether the interval of an axis leaves zero out.
func (e Estimate) Told(a Axis, confidence float64) bool {
	return math.Abs(e.Value[a]) > e.Half(a, confidence)
}

// Mean averages estimates of one subject's seatings, axis by axis. The
// confounded part of the variance (ear shape) is the same in all of them and
// does not average out; the rest does. Of none it is the zero Estimate.
func Mean(of []Estimate) Estimate {
	var out Estimate
	n := float64(len(of))
	for i, e := range of {
		for a := range 3 {
			c := e.Confounded[a]
			out.Value[a] += e.Value[a] / n
			out.Cov[a][a] += e.Cov[a][a] * (c + (1-c)/n) / n
			out.Seen[a] = e.Seen[a] && (i == 0 || out.Seen[a])
		}
		if i == 0 || e.DF > 0 && (out.DF == 0 || e.DF < out.DF) { // 0 is normal: the most there can be
			out.DF = e.DF
		}
	}
	return out
}
