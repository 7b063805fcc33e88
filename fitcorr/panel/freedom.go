package panel

import (
	"math"

	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// meanDF is the degrees of freedom of a worn mean. What listeners teach has df;
// what the lab states of its readings on the fixture has no limit, and where
// readings are used that is most of it (Welch and Satterthwaite: JCGM 100:2008,
// G.4). A source counts by the weight of the readings in the mean, the variance
// left over what the readings alone would leave.
func (p *panel) meanDF(m int, mean seat.Estimate, df float64) float64 {
	if !p.read {
		return df
	}
	var heads, count float64
	for _, l := range p.listeners {
		k := 0.0
		for i := range l.worn {
			if l.worn[i].model == m && l.worn[i].read != nil {
				k++
			}
		}
		if k > 0 {
			heads++
			count += k
		}
	}
	if heads == 0 {
		return df
	}
	var all, learned float64
	r := p.reading
	for a := range position.ReadDim {
		stated := r.FixtureLandmarkMM*r.FixtureLandmarkMM + p.models[m].mark.Variance[a]
		alone := stated + r.LandmarkMM*r.LandmarkMM/heads + r.OneMM*r.OneMM/count
		v := mean.Cov[a][a]
		weight := math.Min(1, v/alone)
		all += v
		learned += math.Max(0, v-weight*weight*stated)
	}
	return stats.PooledDF(learned, df, all-learned, 0)
}
