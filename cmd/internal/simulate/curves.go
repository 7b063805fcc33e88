package simulate

import (
	"context"
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/fitcorr"
)

// Seatings computes every row of a study as the estimators see it: band
// levels in dB re 1 Pa/V with the noise of a sweep measurement, and their
// standard errors. No sound is made, so it is fast. It returns them in the
// order of s.Rows.
func (s *Study) Seatings(ctx context.Context, seed uint64, jobs int) ([]fitcorr.Seating, error) {
	grid := NewBandGrid()
	out := make([]fitcorr.Seating, len(s.Rows))
	err := workers.Each(ctx, len(s.Rows), max(jobs, 1), nil, func(context.Context) func(int) error {
		return func(i int) error {
			out[i] = s.Rows[i].plain()
			rnd := rand.New(rand.NewPCG(seed, streamCurves<<32+uint64(i)))
			for _, e := range capture.Ears {
				h := s.Pressure(s.Rows[i], e, &grid.Grid)
				out[i].Ears[e] = grid.measure(h, s.Design.NoiseDB, rnd)
			}
			return nil
		}
	})
	return out, err
}

// Pressure is the response from volts to pascals at the row's point.
func (s *Study) Pressure(row Row, e capture.Ear, g *Grid) []complex128 {
	p := row.True[e]
	if row.ModelIndex < 0 {
		h := s.World.Loudspeaker(row.SubjectIndex, e, row.YawDeg, p.MicMM, g)
		gain := complex(math.Pow(10, p.GainDB/20), 0)
		for i := range h {
			h[i] *= gain
		}
		return h
	}
	if row.Point == capture.Drum {
		p.MicMM, p.GainDB = [2]float64{}, 0 // the fixture's own microphone stays where it is
	}
	h := s.World.Headphone(row.ModelIndex, row.SubjectIndex, e, p, g)
	if row.Point == capture.Drum {
		for i, t := range s.World.Canal(row.SubjectIndex, e, g) {
			h[i] *= t
		}
	}
	return h
}

// measure adds what a sweep leaves of microphone and room noise. An
// exponential sweep has the same energy in every octave, so white noise grows
// by 3 dB per octave against it; the room's noise grows below 100 Hz. At 0 dB
// the noise is 60 dB below 5 Pa/V at 1 kHz, for the finest resolution.
func (g *BandGrid) measure(h []complex128, noiseDB float64, rnd *rand.Rand) fitcorr.Curve {
	const floor = 0.01 // dB: what repeats differ by without noise
	scale := 0.005 * math.Pow(10, noiseDB/20)
	noisy := make([]complex128, len(h))
	sigma := make([]float64, len(h))
	for i, f := range g.Hz {
		room := 100 / f
		sigma[i] = scale * math.Sqrt(f/1000+room*room)
		n := complex(rnd.NormFloat64(), rnd.NormFloat64())
		noisy[i] = h[i] + n*complex(sigma[i]/math.Sqrt2, 0)
	}
	c := fitcorr.Curve{LevelDB: g.LevelDB(noisy), StdErrDB: make([]float64, len(g.from)), Valid: make([]bool, len(g.from))}
	for b := range c.LevelDB {
		noise := 0.0
		n := float64(g.to[b] - g.from[b])
		for _, s := range sigma[g.from[b]:g.to[b]] {
			noise += s * s / n
		}
		snr := math.Pow(10, c.LevelDB[b]/10) / noise
		// Level of an amplitude with relative noise 1/√snr in each of n bins.
		se := 20 / math.Ln10 / math.Sqrt(2*n*snr)
		// The error is itself estimated, from about fifty degrees of freedom.
		c.StdErrDB[b] = math.Hypot(se*math.Exp(0.1*rnd.NormFloat64()), floor)
		c.LevelDB[b] += floor * rnd.NormFloat64()
		c.Valid[b] = snr > 10
	}
	return c
}
