package deconv

import (
	"asworn/capture/band"

	"gonum.org/v1/gonum/floats"
)

// MeanOver writes to dst the mean over each band of a density given at the frequencies 0,
// stepHz, 2·stepHz … and taken to be linear between them and zero above the last. dst has
// the length of bands and the unit of the density; a band above the last frequency gets
// 0.
func MeanOver(dst, density []float64, stepHz float64, bands []band.Band) {
	at := func(k int) float64 { return density[k] }
	sum := func(from, to int) float64 { return floats.Sum(density[from:to]) }
	meanOver(dst, len(density), at, sum, stepHz, bands)
}

// MeanPowerOver is MeanOver of the squared magnitude of a spectrum.
func MeanPowerOver(dst []float64, spectrum []complex128, stepHz float64, bands []band.Band) {
	at := func(k int) float64 { return Energy(spectrum[k : k+1]) }
	sum := func(from, to int) float64 { return Energy(spectrum[from:to]) }
	meanOver(dst, len(spectrum), at, sum, stepHz, bands)
}

func meanOver(dst []float64, n int, at func(k int) float64, sum func(from, to int) float64, stepHz float64, bands []band.Band) {
	for i, bd := range bands {
		dst[i] = integrate(n, at, sum, bd.Lower/stepHz, bd.Upper/stepHz) * stepHz / (bd.Upper - bd.Lower)
	}
}

// integrate returns the integral from a to b, in bins, of the piecewise linear
// function through n values; sum adds up those of a range.
func integrate(n int, value func(k int) float64, sum func(from, to int) float64, a, b float64) float64 {
	a, b = max(a, 0), min(b, float64(n-1))
	if !(a < b) {
		return 0
	}
	at := func(x float64) float64 {
		k := int(x)
		if k >= n-1 {
			return value(n - 1)
		}
		t := x - float64(k)
		return value(k)*(1-t) + value(k+1)*t
	}
	ka, kb := int(a)+1, int(b) // first and last whole bins inside
	if ka > kb {
		return (b - a) * (at(a) + at(b)) / 2
	}
	area := (float64(ka)-a)*(at(a)+value(ka))/2 + (b-float64(kb))*(value(kb)+at(b))/2
	if kb > ka {
		area += (value(ka)+value(kb))/2 + sum(ka+1, kb)
	}
	return area
}
