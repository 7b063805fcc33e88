package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage returns the coverage factor: Student's t for df degrees of freedom
// (0 = normal) at a two-sided confidence.
func Coverage(confidence, df float64) float64 {
	q := (1 + confidence) / 2
	if df <= 0 {
		return distuv.UnitNormal.Quantile(q)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Max(df, 1)}.Quantile(q)
}

// ChiTail is the tail probability of a χ² value.
func ChiTail(chi2, dof float64) float64 {
	if dof <= 0 {
		return 1
	}
	return distuv.ChiSquared{K: dof}.Survival(chi2)
}

// StudentQuantile is the p quantile of Student's t with df degrees of freedom.
func StudentQuantile(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// TScale widens a normal standard deviation to a t law of df degrees at the
// given one-sided level.
func TScale(df, alpha float64) float64 {
	if df <= 0 {
		return 1
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1 - alpha)
	return t / distuv.UnitNormal.Quantile(1-alpha)
}
