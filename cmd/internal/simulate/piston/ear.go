package piston

import (
	"asworn/cmd/internal/simulate"
	"math"
	"math/rand/v2"
)

// ear is one pinna of generator A: points that scatter sound to the canal
// entrance, and the resonances of the concha with the places that excite them.
// Lengths in metres.
type ear struct {
	mic       point // blocked entrance as the microphone sits in it
	scatter   []scatterer
	modes     []conchaMode
	canal     canal
	headShelf float64 // gain of the head's side at high frequencies, free field
}

type scatterer struct {
	at   point
	gain float64
	size float64 // radius: scatters where k·size is not small
}

// conchaMode is a resonance excited by a weighted sum of the pressures at the
// concha's mouth: all alike for the depth resonance, up minus down or front
// minus back for the transverse ones (after Shaw's modes of the concha, in
// Gilkey and Anderson, Binaural and Spatial Hearing, 1997; quoted from memory).
type conchaMode struct {
	f0, q, gain float64
	weight      [4]float64 // front, back, up, down
}

// earShape is what varies between people, in standard deviations.
type earShape struct {
	size, depth float64
	jitter      []float64
}

// shapeNumbers is how many further numbers an ear takes.
const shapeNumbers = 44

// drawShapes draws a person: both ears alike in most of their differences.
func drawShapes(r *rand.Rand) [2]earShape {
	both := earShape{size: r.NormFloat64(), depth: r.NormFloat64()}
	for range shapeNumbers {
		both.jitter = append(both.jitter, r.NormFloat64())
	}
	var out [2]earShape
	const alike = 0.9 // correlation of left and right
	own := math.Sqrt(1 - alike*alike)
	for e := range out {
		out[e].size = alike*both.size + own*r.NormFloat64()
		out[e].depth = alike*both.depth + own*r.NormFloat64()
		for _, v := range both.jitter {
			out[e].jitter = append(out[e].jitter, alike*v+own*r.NormFloat64())
		}
	}
	return out
}

// build makes an ear from its shape; strength multiplies every difference.
// Pinna height varies by about 7 % between adults, concha depth by about 10 %
// (order of magnitude of anthropometric tables such as those of the CIPIC
// HRTF data base, quoted from memory).
func (s earShape) build(strength float64) ear {
	next := 0
	vary := func(mean, relSD float64) float64 {
		v := s.jitter[next]
		next++
		return mean * math.Exp(strength*relSD*v)
	}
	shift := func(sd float64) float64 {
		v := s.jitter[next]
		next++
		return strength * sd * v
	}
	size := math.Exp(strength * 0.07 * s.size)
	depth := math.Exp(strength * 0.10 * s.depth)
	var e ear
	for _, b := range []struct{ x, y, z, gain, size float64 }{
		{0.006, 0.001, 0.005, 0.55, 0.006},   // tragus
		{-0.013, 0.002, 0.009, 0.75, 0.008},  // antihelix
		{-0.020, 0.016, 0.013, 0.60, 0.009},  // helix, rear
		{-0.004, 0.026, 0.009, 0.60, 0.009},  // helix, top
		{-0.004, -0.013, 0.006, 0.55, 0.008}, // antitragus and lobe
	} {
		e.scatter = append(e.scatter, scatterer{
			at: point{
				x: size*b.x + shift(0.0015), y: size*b.y + shift(0.0015), z: size*b.z + shift(0.0015),
			},
			gain: vary(b.gain, 0.2), size: vary(b.size*size, 0.08),
		})
	}
	for _, m := range []conchaMode{
		{4300 / depth, 2.6, 1.6, [4]float64{0.25, 0.25, 0.25, 0.25}},
		{7200 / size, 4, 1.6, [4]float64{0, 0, 1, -1}},
		{9500 / size, 4.5, 1.6, [4]float64{1, -1, 0, 0}},
		{12300 / size, 5, 1.0, [4]float64{0.5, 0.5, -0.5, -0.5}},
	} {
		m.f0, m.q, m.gain = vary(m.f0, 0.04), vary(m.q, 0.1), vary(m.gain, 0.15)
		e.modes = append(e.modes, m)
	}
	e.mic = point{x: shift(0.0006), y: shift(0.0006), z: -0.001 + shift(0.0004)}
	e.headShelf = vary(1.8, 0.04)
	e.canal = canal{length: vary(0.0245, 0.06), radius: vary(0.0037, 0.05), load: vary(1, 0.15)}
	return e
}

// receivers lists where the field is needed: entrance, four at the concha's
// mouth, then the scatterers.
func (e ear) receivers(micMM [2]float64) []point {
	mic := e.mic
	mic.x += micMM[0] / 1000
	mic.y += micMM[1] / 1000
	const r, z = 0.008, 0.008
	out := []point{
		mic,
		{-0.004 + r, 0, z}, {-0.004 - r, 0, z}, {-0.004, r, z}, {-0.004, -r, z},
	}
	for _, s := range e.scatter {
		out = append(out, s.at)
	}
	return out
}

// gather turns the incoming field at the receivers, field[receiver][n] at
// n·step Hz, into the pressure at the entrance: incoming, scattered by the
// pinna, and the concha's resonances.
func (e ear) gather(field [][]complex128, receivers []point, step float64) []complex128 {
	out := field[0]
	for i, s := range e.scatter {
		d := s.at.to(receivers[0])
		tmp := make([]complex128, len(out))
		addWave(tmp, step, d, s.gain)
		for n := range out {
			ka := 2 * math.Pi * float64(n) * step * s.size / simulate.SoundSpeed
			out[n] += field[5+i][n] * tmp[n] * complex(ka*ka/(1+ka*ka), 0)
		}
	}
	for _, m := range e.modes {
		for n := 1; n < len(out); n++ {
			var excite complex128
			for j, w := range m.weight {
				excite += complex(w, 0) * field[1+j][n]
			}
			out[n] += complex(m.gain, 0) * resonance(float64(n)*step, m.f0, m.q) * excite
		}
	}
	return out
}
