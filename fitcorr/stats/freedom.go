package stats

// mostDF is where Student's t is as good as normal.
const mostDF = 200.0

// SumDF is the degrees of freedom of the sum of independent variances v, of which each
// has df, 0 standing for no limit (Welch and Satterthwaite: JCGM 100:2008, G.4.1); 0
// where none has a limit.
func SumDF(v, df []float64) float64 {
	var sum, den float64
	for i, x := range v {
		sum += x
		if df[i] > 0 {
			den += x * x / df[i]
		}
	}
	if den > 0 {
		return sum * sum / den
	}
	return 0
}

// PooledDF is SumDF of two variances, and 0, no limit, from where Student's t is as good
// as normal. Both variances have one unit; degrees of freedom of 0 are no limit.
func PooledDF(v1, df1, v2, df2 float64) float64 {
	if df := SumDF([]float64{v1, v2}, []float64{df1, df2}); df < mostDF {
		return df
	}
	return 0
}
