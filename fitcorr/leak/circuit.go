// Package leak describes what a leaking seal takes from the low end of a
// headphone's response and estimates it from repeated seatings of one ear. It knows
// levels over frequency and must not know seatings, subjects or which headphone it is;
// package seal does.
//
// The cup is a compliance C = V/(ρc²) driven by a volume velocity; the leak is
// an acoustic resistance R in series with an acoustic mass M across it.
// Relative to the sealed cup the pressure is
//
//	H(ω) = jωC(R + jωM) / (1 − ω²MC + jωRC),
//
// a second-order high-pass with a zero (lumped-element circuit, as in Beranek
// & Mellow, Acoustics: Sound Fields and Transducers, and Borwick (ed.),
// Loudspeaker and Headphone Handbook; quoted from memory, the expression is
// re-derived in docs/leak.md). A driver whose own compliance is in parallel
// with the cup changes C and nothing else.
//
// From the bottom up: the circuit and what the leak meets (Params, Source), one curve
// against a known sealed one (single), all curves with the sealed one unknown (joint:
// normal equations, Gauss–Newton), the scatter between seatings by restricted
// likelihood, the test of each curve against the others (judge), and Fit, which
// chooses between them. Levels and scatter are in dB, frequencies in Hz; leaks are
// estimated as ln f₀ and ln(1/Q), so that an interval is a factor.
package leak

import (
	"math"
)

// Properties of air at 20 °C and 101.325 kPa (standard values, rounded).
const (
	airDensity   = 1.204   // kg/m³
	airViscosity = 1.82e-5 // Pa·s
)

// Params is a leak as the response shows it. The zero value is a perfect seal.
type Params struct {
	CornerHz float64 // f₀ = 1/(2π√(MC))
	Damping  float64 // 1/Q = R√(C/M), a ratio
}

// Response returns H at f Hz, f > 0, the pressure with the leak over the pressure of
// the sealed cup, a pure number. A corner of zero is a perfect seal: H = 1.
func (p Params) Response(f float64) complex128 {
	s := complex(0, f)
	w0 := complex(p.CornerHz, 0)
	num := s * (complex(p.Damping, 0)*w0 + s)
	return num / (w0*w0 + num)
}

// ThreeDBHz returns the highest frequency in Hz at which the loss reaches
// 3.01 dB. In terms of u = (f/f₀)² and b = 1/Q², |H|² = u(b+u)/((1−u)²+bu) =
// 1/2 becomes u² + (2+b)u − 1 = 0, which has one positive root.
func (p Params) ThreeDBHz() float64 {
	b := 2 + p.Damping*p.Damping
	// The stable form of the root: for heavy damping u ≈ 1/b.
	return p.CornerHz * math.Sqrt(2/(b+math.Sqrt(b*b+4)))
}
