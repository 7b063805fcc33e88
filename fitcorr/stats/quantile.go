package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// StudentQuantile is the p quantile (0 < p < 1) of Student's t with df degrees
// of freedom; df of 0 or less stands for no limit, the normal distribution.
func StudentQuantile(p, df float64) float64 {
	// From 1e8 the two differ by less than gonum errs, and from 1e16 gonum gives NaN.
	if df <= 0 || df > 1e8 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// Coverage returns the coverage factor (JCGM 100:2008, G.3) of a two-sided
// interval of the given confidence: Student's t for df degrees of freedom, taken
// as 1 or more, 0 standing for no limit.
func Coverage(confidence, df float64) float64 {
	if df > 0 {
		df = math.Max(df, 1)
	}
	return StudentQuantile((1+confidence)/2, df)
}

// TScale is the factor that widens a normal standard deviation so that its
// one-sided limit of size alpha is that of Student's t with df degrees of
// freedom; 1 for df of 0 or less.
func TScale(df, alpha float64) float64 {
	if df <= 0 {
		return 1
	}
	return StudentQuantile(1-alpha, df) / StudentQuantile(1-alpha, 0)
}

// ChiTail is the probability that χ² with dof degrees of freedom exceeds chi2; 1
// for dof of 0 or less.
func ChiTail(chi2, dof float64) float64 {
	if dof <= 0 {
		return 1
	}
	return distuv.ChiSquared{K: dof}.Survival(chi2)
}
