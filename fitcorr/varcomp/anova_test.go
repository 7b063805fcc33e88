package varcomp

import (
	"fmt"
	"math"
)

// The classical analysis of variance, which REML is held against: published
// examples give its results.

// ANOVA is the one-way analysis of variance of groups of observations.
type ANOVA struct {
	Groups, N           int
	DFBetween, DFWithin float64
	SSBetween, SSWithin float64 // sums of squares, square of the unit of y
	MSBetween, MSWithin float64 // mean squares
	F                   float64
	RSquared            float64
	// MeanSize is n₀ = (N − Σnᵢ²/N)/(k−1): the group size for which
	// E(MSBetween) = σ² + n₀σ_L² (ISO 5725-2; Searle et al. 1992).
	MeanSize float64
}

// OneWay analyses groups of observations; groups may differ in size. It fails
// with ErrTooFew or ErrNotSeparable when there is nothing to analyse.
func OneWay(groups [][]float64) (ANOVA, error) {
	var a ANOVA
	var sumSq float64
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		a.Groups++
		a.N += len(g)
		sumSq += float64(len(g) * len(g))
	}
	if a.Groups < 2 {
		return ANOVA{}, fmt.Errorf("varcomp: %w", ErrTooFew)
	}
	if a.N == a.Groups {
		return ANOVA{}, fmt.Errorf("varcomp: %w", ErrNotSeparable)
	}
	// Twice-corrected means about one observation: values that agree in their
	// first thirteen digits keep what the last three say (NIST StRD SmLs07–09).
	centre := math.NaN()
	for _, g := range groups {
		if len(g) > 0 {
			centre = g[0]
			break
		}
	}
	means := make([]float64, len(groups))
	grand := 0.0
	for i, g := range groups {
		if len(g) == 0 {
			continue
		}
		sum := 0.0
		for _, v := range g {
			sum += v - centre
		}
		m := sum / float64(len(g))
		rest := 0.0
		for _, v := range g {
			rest += v - centre - m
		}
		means[i] = m + rest/float64(len(g))
		grand += float64(len(g)) * means[i]
	}
	grand /= float64(a.N)
	for i, g := range groups {
		for _, v := range g {
			r := v - centre - means[i]
			a.SSWithin += r * r
		}
		d := means[i] - grand
		a.SSBetween += float64(len(g)) * d * d
	}
	a.DFBetween, a.DFWithin = float64(a.Groups-1), float64(a.N-a.Groups)
	a.MSBetween, a.MSWithin = a.SSBetween/a.DFBetween, a.SSWithin/a.DFWithin
	a.F = a.MSBetween / a.MSWithin
	a.RSquared = a.SSBetween / (a.SSBetween + a.SSWithin)
	a.MeanSize = (float64(a.N) - sumSq/float64(a.N)) / a.DFBetween
	return a, nil
}

// Precision is the precision of a method in the terms of ISO 5725-2: here a
// laboratory is a listener and a test result one seating.
type Precision struct {
	Mean            float64 // general mean, weighted by group size
	Repeatability   float64 // s_r: standard deviation inside a laboratory
	BetweenLabs     float64 // s_L: standard deviation between laboratories, 0 when the estimate is negative
	Reproducibility float64 // s_R = √(s_r² + s_L²)
	ANOVA           ANOVA
}

// ISO5725 computes repeatability and reproducibility as ISO 5725-2:1994,
// 7.4, does (formulas quoted from memory; the worked example is the check).
func ISO5725(labs [][]float64) (Precision, error) {
	a, err := OneWay(labs)
	if err != nil {
		return Precision{}, err
	}
	p := Precision{ANOVA: a, Repeatability: math.Sqrt(a.MSWithin)}
	for _, g := range labs {
		for _, v := range g {
			p.Mean += v
		}
	}
	p.Mean /= float64(a.N)
	if l := (a.MSBetween - a.MSWithin) / a.MeanSize; l > 0 {
		p.BetweenLabs = math.Sqrt(l)
	}
	p.Reproducibility = math.Hypot(p.Repeatability, p.BetweenLabs)
	return p, nil
}
