package correct

import (
	"math"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// A correction fades in and out over fadeBands kept bands, a third of an octave, at
// each end of a range that is corrected, within it: a measurer reads a step in a
// curve as a resonance.
const fadeBands = seat.PerThird

// faded turns the share of the change to make, per kept band and 0 where nothing is
// corrected, into one without steps that is nowhere larger: the least share within half
// the fade, averaged by a raised cosine over half the fade. The ends of the curve are no
// steps.
func faded(share []float64) []float64 {
	const half = fadeBands / 2
	at := func(v []float64, b int) float64 { return v[min(max(b, 0), len(v)-1)] }
	least, out := make([]float64, len(share)), make([]float64, len(share))
	for b := range share {
		least[b] = share[b]
		for k := -half; k <= half; k++ {
			least[b] = math.Min(least[b], at(share, b+k))
		}
	}
	for b := range least {
		var sum, weights float64
		for k := -half; k <= half; k++ {
			w := 1 + math.Cos(math.Pi*float64(k)/(half+1))
			sum += w * at(least, b+k)
			weights += w
		}
		out[b] = math.Min(sum/weights, share[b]) // equal but for rounding
	}
	return out
}

// edgeFade returns, per kept band, what rises from 0 to 1 over the third of an octave
// above the frequency low and falls again below high, both in Hz; 0 there is no edge.
func edgeFade(low, high float64) []float64 {
	rise := func(octaves float64) float64 {
		x := math.Max(0, math.Min(1, 3*octaves))
		return (1 - math.Cos(math.Pi*x)) / 2
	}
	out := make([]float64, band.Count)
	for b, f := range band.All() {
		out[b] = 1
		if low > 0 {
			out[b] *= rise(math.Log2(f.Mid / low))
		}
		if high > 0 {
			out[b] *= rise(math.Log2(high / f.Mid))
		}
	}
	return out
}
