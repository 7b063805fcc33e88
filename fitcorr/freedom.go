package fitcorr

import "math"

// mostDF is where Student's t is as good as normal.
const mostDF = 200.0

// pooledDF is the degrees of freedom of a sum of two independent variances, 0
// standing for no limit (Welch and Satterthwaite: JCGM 100:2008, G.4.1).
func pooledDF(v1, df1, v2, df2 float64) float64 {
	var den float64
	if df1 > 0 {
		den += v1 * v1 / df1
	}
	if df2 > 0 {
		den += v2 * v2 / df2
	}
	if v := v1 + v2; v*v < mostDF*den {
		return v * v / den
	}
	return 0
}

// meanDF is the degrees of freedom of a worn mean. What listeners teach has df;
// what the lab states of its readings on the fixture has no limit, and where
// readings are used that is most of it (Welch and Satterthwaite: JCGM 100:2008,
// G.4). A source counts by the weight of the readings in the mean, the variance
// left over what the readings alone would leave.
func (p *panel) meanDF(m int, mean Estimate, df float64) float64 {
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
	for a := range readDim {
		stated := r.FixtureLandmarkMM*r.FixtureLandmarkMM + p.models[m].mark.Variance[a]
		alone := stated + r.LandmarkMM*r.LandmarkMM/heads + r.OneMM*r.OneMM/count
		v := mean.Cov[a][a]
		weight := math.Min(1, v/alone)
		all += v
		learned += math.Max(0, v-weight*weight*stated)
	}
	return pooledDF(learned, df, all-learned, 0)
}

// placeDF is the degrees of freedom of a fixture seating's interval: its
// variance is the scatter that the survey's rows show about a surface of a
// level and three slopes.
func placeDF(models *[2]earModel) float64 {
	rows := 0
	for e := range models {
		if models[e].survey != nil {
			rows = max(rows, len(models[e].survey.At))
		}
	}
	return math.Max(3, float64(rows-4))
}
