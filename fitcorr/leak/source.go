package leak

import (
	"math"
)

// Source is what all leaks of a headphone meet and how the ear hears it, where
// that is not a plain volume velocity into a pure compliance. The leak meets
// the impedance G/(jωC), the ear hears −e/(jωC) beside the pressure at the
// leak, and with N = jωC(R + jωM) the response is
//
//	H = (GN/(G + N) − e)/(G − e).
//
// Below the first mode of the cup both are series in y = f/100 Hz,
//
//	G = G₀ + j·Loss·y + Bend·y²,  e = Near·y² − j·NearLoss·y³.
//
// Loss is the loss factor of the cup at 100 Hz: the cone's damping, what the
// cushion takes, heat that goes to the walls. Bend is the next term, the cone's
// mass for one. Near is the inertance between driver and ear, which the near
// field of the driver and the higher modes of the cup make, over the mass that
// would resonate with C at 100 Hz; NearLoss is the term after it.
//
// G₀ is 1 but for a cone with a resonance in the range, of which part of the
// compliance is the cup's own: then
//
//	G₀ = D/(κD + 1 − κ),  D = 1 + jδx − x²,  x = f/ResonanceHz,
//
// D being the cone in air and κ the cup's part of the compliance. The zero
// Source is the plain circuit.
type Source struct {
	Loss     float64 `json:"loss"`
	Bend     float64 `json:"bend"`
	Near     float64 `json:"near"`
	NearLoss float64 `json:"near_loss"`

	ResonanceHz float64 `json:"resonance_hz,omitempty"` // of the cone without the cup
	Damping     float64 `json:"damping,omitempty"`      // δ = 1/Q of that resonance
	CupPart     float64 `json:"share,omitempty"`        // κ, 0 to 1; towards 1 the cup alone counts
}

const (
	seriesHz = 100.0 // at which the terms of the series are stated
	// seriesTopHz is where the series is left: above, a loss falls as 1/f².
	seriesTopHz = 900.0
)

// LossDB returns the level in dB that leak p takes at f Hz from this source;
// 0 for a corner of zero.
func (s Source) LossDB(p Params, f float64) float64 {
	if p.CornerHz == 0 {
		return 0
	}
	at, fall := s.within(f)
	return -fall * s.levelDB(p, at)
}

// within returns the frequency in Hz at which to take the response for f, and
// the factor on its level.
func (s Source) within(f float64) (at, fall float64) {
	if f <= seriesTopHz || s == (Source{}) {
		return f, 1
	}
	return seriesTopHz, seriesTopHz * seriesTopHz / (f * f)
}

// cone returns D and κD + 1 − κ at f.
func (s Source) cone(f float64) (d, den complex128) {
	x := f / s.ResonanceHz
	k := complex(s.CupPart, 0)
	d = complex(1-x*x, s.Damping*x)
	return d, k*d + 1 - k
}

// at returns G and e at f.
func (s Source) at(f float64) (g, e complex128) {
	y := f / seriesHz
	g, e = complex(1+s.Bend*y*y, s.Loss*y), complex(s.Near*y*y, -s.NearLoss*y*y*y)
	if s.ResonanceHz > 0 {
		cone, den := s.cone(f)
		g += cone/den - 1
	}
	return g, e
}

// coneSlopes returns the derivatives of G by ln ResonanceHz, ln Damping and
// logit CupPart.
func (s Source) coneSlopes(f float64) (d [3]complex128) {
	x := f / s.ResonanceHz
	k := complex(s.CupPart, 0)
	cone, den := s.cone(f)
	byCone := (1 - k) / (den * den)
	d[0] = byCone * complex(2*x*x, -s.Damping*x)
	d[1] = byCone * complex(0, s.Damping*x)
	d[2] = -cone * (cone - 1) / (den * den) * k * (1 - k)
	return d
}

// slope is the level of a leaking seating, in dB, with its derivatives.
type slope struct {
	level    float64
	own      [2]float64               // by ln CornerHz and ln Damping
	bySource [mostSourceTerms]float64 // by the unknowns of Source
}

// level returns 20 lg|H| at f Hz of leak p on source s, with derivatives.
func (s Source) level(p Params, f float64) slope {
	out := s.slopes(p, f)
	out.level = s.levelDB(p, f)
	return out
}

// slopes is level without the level: with the numerator over G + N, P = GN − e(G + N),
// ln|H| = Re(ln P − ln(G + N) − ln(G − e)).
func (s Source) slopes(p Params, f float64) (out slope) {
	x, y := f/p.CornerHz, f/seriesHz
	n := complex(-x*x, p.Damping*x)
	g, e := s.at(f)
	sum, rest := g+n, g-e
	num := g*n - e*sum
	byNum, bySum, byRest := 1/num, 1/sum, 1/rest
	byN := rest*byNum - bySum
	byG := (n-e)*byNum - bySum - byRest
	byE := byRest - sum*byNum
	// nepers times the real part of j·v is −nepers times the imaginary of v.
	out.own[0] = nepers * real(complex(2*x*x, -p.Damping*x)*byN)
	out.own[1] = -nepers * p.Damping * x * imag(byN)
	out.bySource[0] = -priorSeriesSD[0] * nepers * y * imag(byG)
	out.bySource[1] = priorSeriesSD[1] * nepers * y * y * real(byG)
	out.bySource[2] = priorSeriesSD[2] * nepers * y * y * real(byE)
	out.bySource[3] = priorSeriesSD[3] * nepers * y * y * y * imag(byE)
	if s.ResonanceHz > 0 {
		for k, d := range s.coneSlopes(f) {
			out.bySource[sourceTerms+k] = nepers * real(d*byG)
		}
	}
	return out
}

const nepers = 20 / math.Ln10 // dB

// levelOf is 20 lg|n/sum|.
func levelOf(n, sum complex128) float64 { return nepers / 2 * math.Log(square2(n)/square2(sum)) }

func square2(v complex128) float64 { return real(v)*real(v) + imag(v)*imag(v) }

// levelDB is level without the derivatives.
func (s Source) levelDB(p Params, f float64) float64 {
	x := f / p.CornerHz
	n := complex(-x*x, p.Damping*x)
	g, e := s.at(f)
	return levelOf(g*n-e*(g+n), (g+n)*(g-e))
}
