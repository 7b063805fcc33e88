package stats

// mostDF is where Student's t is as good as normal.
const mostDF = 200.0

// PooledDF is the degrees of freedom of a sum of two independent variances, 0
// standing for no limit (Welch and Satterthwaite: JCGM 100:2008, G.4.1).
func PooledDF(v1, df1, v2, df2 float64) float64 {
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
