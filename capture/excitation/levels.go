package excitation

import (
	"asworn/capture/band"
	"asworn/capture/response"
)

// leastFreedom is how many degrees of freedom a noise estimate must have; the
// band it is averaged over is widened until it does. With 60 an interval built
// on it covers 94.5 % instead of 95 %.
const leastFreedom = 60

// Widened returns the bands, each widened about its middle until an estimate
// over seconds of noise has leastFreedom degrees of freedom (two per hertz and
// second), and those degrees.
func (p *Plan) Widened(seconds float64) ([]band.Band, []float64) {
	out := make([]band.Band, len(p.Bands))
	freedom := make([]float64, len(p.Bands))
	for i, b := range p.Bands {
		width := max(b.Upper-b.Lower, leastFreedom/(2*seconds))
		lower := max(b.Mid-width/2, p.LowHz*0.7, 1/seconds)
		upper := min(lower+width, p.RateHz/2)
		out[i] = band.Band{Lower: lower, Mid: b.Mid, Upper: upper}
		freedom[i] = max(1, 2*seconds*(upper-lower))
	}
	return out, freedom
}

// EmptyResponse is the response of an ear of which nothing is known: one value per kept
// band, of which none counts.
func (p *Plan) EmptyResponse() response.Response {
	n := len(p.Bands)
	r := response.Response{RateHz: p.RateHz, LevelDB: make([]float64, n), StdErrDB: make([]float64, n),
		NoiseDB: make([]float64, n), Valid: make([]bool, n), SweepLevelDB: response.NoLevelDB, SweepLevelA: response.NoLevelDB}
	for i := range r.LevelDB {
		r.LevelDB[i], r.NoiseDB[i], r.StdErrDB[i] = response.NoLevelDB, response.NoLevelDB, -response.NoLevelDB
	}
	return r
}
