package leak

import (
	"math"
)

// Unknowns of a Source: the terms of the series, then the cone's three.
const (
	sourceTerms     = 4
	mostSourceTerms = sourceTerms + 3
)

// Priors of the series, at 100 Hz (common practice, no source; what they rest
// on is in docs/developing/leak.md).
var (
	priorSeries   = [sourceTerms]float64{0.02, 0, 0, 0}
	priorSeriesSD = [sourceTerms]float64{0.02, 0.003, 0.005, 0.001}
)

// Priors of the cone: those of headphones, wide (common practice, no source).
var (
	priorCone   = [3]float64{math.Log(90), math.Log(1), logit(0.15)}
	priorConeSD = [3]float64{0.7, 0.8, 1.5}
)

// startPlain is where a fit without a cone starts, startCones where the search
// of a cone does.
var (
	startPlain = Source{Loss: priorSeries[0]}
	startCones = []Source{
		{Loss: priorSeries[0], ResonanceHz: 90, Damping: 1, CupPart: 0.15},
		{Loss: priorSeries[0], ResonanceHz: 60, Damping: 0.5, CupPart: 0.1},
		{Loss: priorSeries[0], ResonanceHz: 120, Damping: 0.5, CupPart: 0.05},
	}
)

func logit(p float64) float64 { return math.Log(p / (1 - p)) }

// unknowns is the number of terms that a fit leaves free.
func (s Source) unknowns() int {
	if s.ResonanceHz > 0 {
		return mostSourceTerms
	}
	return sourceTerms
}

// vector returns the unknowns of a source: the terms of the series in standard
// deviations of their priors, which keeps the equations in proportion, and the
// logarithms of a cone's numbers.
func (s Source) vector() []float64 {
	v := []float64{s.Loss, s.Bend, s.Near, s.NearLoss}
	for k := range v {
		v[k] /= priorSeriesSD[k]
	}
	if s.ResonanceHz > 0 {
		v = append(v, math.Log(s.ResonanceHz), math.Log(s.Damping), logit(s.CupPart))
	}
	return v
}

// sourceFrom undoes vector, kept within what a cup and a cone can be.
func sourceFrom(v []float64) Source {
	clamp := func(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
	var t [sourceTerms]float64
	for k := range t {
		t[k] = clamp(v[k], -7, 7) * priorSeriesSD[k]
	}
	s := Source{Loss: t[0], Bend: t[1], Near: t[2], NearLoss: t[3]}
	if len(v) > sourceTerms {
		c := v[sourceTerms:]
		s.ResonanceHz = math.Exp(clamp(c[0], math.Log(10), math.Log(2000)))
		s.Damping = math.Exp(clamp(c[1], math.Log(0.05), math.Log(20)))
		s.CupPart = 1 / (1 + math.Exp(-clamp(c[2], -6, 6)))
	}
	return s
}

// prior returns (prior − value)/SD of each unknown, and the SDs.
func (s Source) prior() (res, sd [mostSourceTerms]float64) {
	for k, v := range s.vector() {
		if k < sourceTerms {
			sd[k] = 1
			res[k] = priorSeries[k]/priorSeriesSD[k] - v
		} else {
			sd[k] = priorConeSD[k-sourceTerms]
			res[k] = (priorCone[k-sourceTerms] - v) / sd[k]
		}
	}
	return res, sd
}
