package modal

import (
	"math"
	"math/rand/v2"

	"asworn/cmd/internal/simulate"
)

// headphone is one side of a model: a shallow cylindrical cavity, slightly
// elliptic, with a driver in its lid. Lengths in metres.
type headphone struct {
	open          bool
	radius, depth float64
	markX, markY  float64 // of the cavity's centre against the canal entrance at the mark
	capRadius     float64 // of the dome, whose velocity falls as 1 − (r/R)²
	capX, capY    float64
	ellipse       float64 // relative splitting of the modes that come in pairs
	quality       float64 // of the modes across, with the cushion's impedance
	qualityZ      float64 // of those in depth
	gain          float64
	driverHz, q   float64
	compliance    float64 // of the driver against the cavity
	ventR, ventM  float64 // open back
	hairs         float64 // channels side by side that make a leak
	tunnel        float64 // their length
	curvature     float64 // of the head, 1/m: how a displaced cushion rides up
	lift          float64
	modes         []mode
}

// mode is J_m(κr/a)·cos or sin(mθ)·cos(pπz/d).
type mode struct {
	m, p    int
	kappa   float64 // zero of J_m′
	sine    bool
	norm    float64 // mean square of the shape over the cavity
	driven  float64 // mean of the shape over the dome, weighted by its velocity
	squared float64 // (κ/a)², split by the ellipse, 1/m²
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// drawHeadphone invents a model.
func drawHeadphone(r *rand.Rand, open bool, nonlinearity float64) headphone {
	h := headphone{
		open: open, radius: between(r, 0.028, 0.034), depth: between(r, 0.020, 0.027),
		markX: between(r, -0.009, -0.003), markY: between(r, 0.002, 0.008),
		capRadius: between(r, 0.015, 0.020), capX: between(r, -0.001, 0.007), capY: between(r, -0.004, 0.004),
		ellipse: between(r, 0.05, 0.14), quality: between(r, 3.5, 7), qualityZ: between(r, 3, 6),
		gain: between(r, 3, 9), driverHz: between(r, 900, 1500), q: between(r, 0.45, 0.75), compliance: between(r, 0.1, 0.25),
		hairs: math.Round(between(r, 20, 40)), tunnel: between(r, 0.014, 0.020),
		curvature: between(r, 4, 7) * nonlinearity, lift: between(r, 0.1, 0.3) * nonlinearity,
	}
	if open {
		h.quality, h.qualityZ = h.quality*0.7, h.qualityZ*0.7
		h.driverHz, h.q, h.compliance = between(r, 70, 110), between(r, 0.7, 1.2), between(r, 2, 4)
		w := 2 * math.Pi * between(r, 1000, 1500)
		h.ventM = 1 / (w * w * h.capacity(0))
		h.ventR = between(r, 0.5, 0.9) * w * h.ventM
	}
	h.solve()
	return h
}

// other is the second side of the headset.
func (h headphone) other(r *rand.Rand) headphone {
	h.gain *= math.Exp(0.05 * r.NormFloat64())
	h.driverHz *= math.Exp(0.03 * r.NormFloat64())
	h.quality *= math.Exp(0.05 * r.NormFloat64())
	h.capX += 0.0004 * r.NormFloat64()
	h.capY += 0.0004 * r.NormFloat64()
	h.solve()
	return h
}

func (h headphone) volume(gap float64) float64 {
	return math.Pi * h.radius * h.radius * (h.depth + gap) * 0.85
}

// capacity is the acoustic compliance of the cavity, m³/Pa.
func (h headphone) capacity(gap float64) float64 {
	return h.volume(gap) / (simulate.AirDensity * simulate.SoundSpeed * simulate.SoundSpeed)
}

// highest is the largest κ/a kept: a quarter above that of sound at 20 kHz.
const highest = 1.25 * 2 * math.Pi * 20e3 / simulate.SoundSpeed

// solve lists the cavity's modes but the uniform one.
func (h *headphone) solve() {
	h.modes = nil
	for m := 0; m <= 16; m++ {
		for _, kappa := range primeZeros(m, highest*h.radius) {
			for p := 0; p <= 2; p++ {
				if kappa == 0 && p == 0 {
					continue // uniform: the circuit's
				}
				h.modes = append(h.modes, h.mode(m, p, kappa, false))
				if m > 0 {
					h.modes = append(h.modes, h.mode(m, p, kappa, true))
				}
			}
		}
	}
}

func (h *headphone) mode(m, p int, kappa float64, sine bool) mode {
	md := mode{m: m, p: p, kappa: kappa, sine: sine}
	// Mean square over the disc (Morse and Ingard, Theoretical Acoustics, ch. 9).
	j := math.Jn(m, kappa)
	md.norm = j * j
	if m > 0 {
		md.norm *= (1 - float64(m*m)/(kappa*kappa)) / 2
	}
	if p > 0 {
		md.norm /= 2
	}
	md.squared = (kappa / h.radius) * (kappa / h.radius)
	if m > 0 {
		// An ellipse splits a pair by an amount that falls with its order.
		split := h.ellipse / float64(m)
		if sine {
			split = -split
		}
		md.squared *= (1 + split) * (1 + split)
	}
	// The dome, by rings of equal area.
	const rings, around = 4, 10
	sum, weight := 0.0, 0.0
	for i := range rings {
		rho := math.Sqrt((float64(i) + 0.5) / rings)
		v := 1 - rho*rho
		for k := range around {
			s, c := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / around)
			sum += v * md.across(h.capX+h.capRadius*rho*c, h.capY+h.capRadius*rho*s, h.radius)
			weight += v
		}
	}
	md.driven = sum / weight
	if p%2 == 1 {
		md.driven = -md.driven // the lid is at z = d
	}
	return md
}

// across is the shape in the plane, at x, y from the centre.
func (m mode) across(x, y, radius float64) float64 {
	v := math.Jn(m.m, m.kappa*math.Min(math.Hypot(x, y)/radius, 1))
	if m.m == 0 {
		return v
	}
	s, c := math.Sincos(float64(m.m) * math.Atan2(y, x))
	if m.sine {
		return v * s
	}
	return v * c
}

// primeZeros lists the zeros of J_m′ up to limit; 0 counts for m = 0.
func primeZeros(m int, limit float64) []float64 {
	slope := func(x float64) float64 {
		if m == 0 {
			return -math.J1(x)
		}
		return (math.Jn(m-1, x) - math.Jn(m+1, x)) / 2
	}
	var out []float64
	if m == 0 {
		out = append(out, 0)
	}
	const step = 0.1
	for x := math.Max(0.05, 0.8*float64(m)); x < limit; x += step {
		a, b := x, x+step
		if slope(a)*slope(b) > 0 {
			continue
		}
		for range 50 {
			mid := (a + b) / 2
			if slope(a)*slope(mid) > 0 {
				a = mid
			} else {
				b = mid
			}
		}
		if a < limit {
			out = append(out, a)
		}
	}
	return out
}
