package stats

import "math"

// GroupMean is the mean over groups of the mean of each, with its standard error
// from the spread of those means and the degrees of freedom of that, groups − 1:
// what members of a group have in common does not average out over them. x and
// groups go together. One group has no spread: se is NaN, df 0; none, all NaN and 0.
func GroupMean(groups []string, x []float64) (mean, se, df float64) {
	at := map[string]int{}
	var means, n []float64 // in order of first appearance
	for i, g := range groups {
		k, ok := at[g]
		if !ok {
			k = len(means)
			at[g], means, n = k, append(means, 0), append(n, 0)
		}
		means[k] += x[i]
		n[k]++
	}
	for k := range means {
		means[k] /= n[k]
	}
	mean, sd := MeanSD(means)
	return mean, sd / math.Sqrt(float64(len(means))), math.Max(0, float64(len(means)-1))
}
