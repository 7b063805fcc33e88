package leak

import (
	"math"
	"math/cmplx"
)

// Source is what drives the cup when it is not a plain volume velocity: a cone
// with a resonance, of which part of the compliance is the cup's own. The leak
// then meets the impedance G/(jωC) with the total compliance C and
//
//	G = D/(κD + 1 − κ),  D = 1 + jδx − x²,  x = f/ResonanceHz,
//
// D being the cone in air and κ the cup's share of the compliance, and the
// response is H = N/(G + N) with N = jωC(R + jωM). The zero Source is G = 1.
type Source struct {
	ResonanceHz float64 `json:"resonance_hz"` // of the cone without the cup
	Damping     float64 `json:"damping"`      // δ = 1/Q of that resonance
	Share       float64 `json:"share"`        // κ, 0 to 1; towards 1 the cup alone counts
}

// LossDB returns the level in dB that leak p takes at f Hz from this source;
// 0 for a corner of zero.
func (s Source) LossDB(p Params, f float64) float64 {
	if p.CornerHz == 0 {
		return 0
	}
	return -s.levelDB(p, f)
}

// cone returns D and κD + 1 − κ at f.
func (s Source) cone(f float64) (d, den complex128) {
	x := f / s.ResonanceHz
	k := complex(s.Share, 0)
	d = complex(1-x*x, s.Damping*x)
	return d, k*d + 1 - k
}

// load returns G at f and its derivatives by ln ResonanceHz, ln Damping and
// logit Share.
func (s Source) load(f float64) (g complex128, d [3]complex128) {
	if s.ResonanceHz == 0 {
		return 1, d
	}
	x := f / s.ResonanceHz
	k := complex(s.Share, 0)
	cone, den := s.cone(f)
	g = cone / den
	byCone := (1 - k) / (den * den)
	d[0] = byCone * complex(2*x*x, -s.Damping*x)
	d[1] = byCone * complex(0, s.Damping*x)
	d[2] = -cone * (cone - 1) / (den * den) * k * (1 - k)
	return g, d
}

// slope is the level of a leaking seating, in dB, with its derivatives.
type slope struct {
	level    float64
	own      [2]float64 // by ln CornerHz and ln Damping
	bySource [3]float64 // by the unknowns of Source
}

// level returns 20 lg|H| at f Hz of leak p on source s, with derivatives. With
// N = jδx − x², ln|H| = Re(ln N − ln(G + N)).
func (s Source) level(p Params, f float64) slope {
	x := f / p.CornerHz
	n := complex(-x*x, p.Damping*x)
	g, dg := s.load(f)
	sum := g + n
	ratio := g / (n * sum)
	out := slope{level: levelOf(n, sum)}
	out.own[0] = nepers * real(complex(2*x*x, -p.Damping*x)*ratio)
	out.own[1] = nepers * real(complex(0, p.Damping*x)*ratio)
	if s.ResonanceHz > 0 {
		for k := range dg {
			out.bySource[k] = -nepers * real(dg[k]/sum)
		}
	}
	return out
}

const nepers = 20 / math.Ln10 // dB

func levelOf(n, sum complex128) float64 { return nepers * math.Log(cmplx.Abs(n/sum)) }

// levelDB is level without the derivatives.
func (s Source) levelDB(p Params, f float64) float64 {
	x := f / p.CornerHz
	n := complex(-x*x, p.Damping*x)
	g := complex(1, 0)
	if s.ResonanceHz > 0 {
		cone, den := s.cone(f)
		g = cone / den
	}
	return levelOf(n, g+n)
}

// Prior of the source: cones of headphones, wide (common practice, no source).
var (
	priorSource   = Source{ResonanceHz: 90, Damping: 1, Share: 0.15}
	priorSourceSD = [3]float64{0.7, 0.8, 1.5}
)

// startSources are where the search of a source starts.
var startSources = []Source{priorSource, {60, 0.5, 0.1}, {120, 0.5, 0.05}}

func (s Source) vector() [3]float64 {
	return [3]float64{math.Log(s.ResonanceHz), math.Log(s.Damping), math.Log(s.Share / (1 - s.Share))}
}

func sourceFrom(v [3]float64) Source {
	clamp := func(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }
	return Source{
		ResonanceHz: math.Exp(clamp(v[0], math.Log(10), math.Log(2000))),
		Damping:     math.Exp(clamp(v[1], math.Log(0.05), math.Log(20))),
		Share:       1 / (1 + math.Exp(-clamp(v[2], -6, 6))),
	}
}

// priorResiduals returns (prior − value)/SD of the source's unknowns.
func (s Source) priorResiduals() (r [3]float64) {
	v, m := s.vector(), priorSource.vector()
	for k := range r {
		r[k] = (m[k] - v[k]) / priorSourceSD[k]
	}
	return r
}
