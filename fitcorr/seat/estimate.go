package seat

import (
	"asworn/fitcorr/stats"
)

// Estimate is a position with its uncertainty; units per axis: mm, mm, degrees.
type Estimate struct {
	Value [3]float64    `json:"value"`
	Cov   [3][3]float64 `json:"cov"`
	// Confounded is the share (0 to 1) of the variance on each axis that comes
	// from not knowing ear shape from position.
	Confounded [3]float64 `json:"confounded"`
	// Seen reports whether the data say more than the prior about an axis.
	Seen [3]bool `json:"seen"`
	DF   float64 `json:"df"` // degrees of freedom of the t intervals; 0 = normal
}

// Apart is one position less another that was estimated apart from it.
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

// PlaneVariance is the variance forward and up.
func (e Estimate) PlaneVariance() float64 { return e.Cov[0][0] + e.Cov[1][1] }
