package leak

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/fitcorr/internal/toy"
)

// generator makes seatings of one ear from the circuit's elements, not from the
// estimator's parameters: a driver on a closed volume, slits of given height,
// a position effect that grows with frequency, microphone gain and noise.
type generator struct {
	rng      *rand.Rand
	position float64 // dB at 1 kHz, standard deviation
	noise    float64 // dB at 20 Hz; falls as 1/f
	scatter  float64 // dB, independent per band
	volume   float64 // relative spread of the enclosed volume
	worst    float64 // mm, the largest slit of an ordinary seating
	all      float64 // mm, the smallest slit when every seating leaks; 0: a third is sealed
	softCone bool    // the driver's own impedance loads the cup
	lossy    bool    // a cup with losses and modes, the same for all seatings
	cup      *lossyCup
	drift    float64 // dB, of a smooth random curve over the whole low end
	every    int     // every how many seatings one is sealed; 0: three
	porous   float64 // share of the slit's mass that hair lets count; 0: all
	lowest   float64 // Hz, below which no band is valid
}

func gridHz() []float64 {
	var f []float64
	for k := range 35 {
		f = append(f, 18.3*math.Pow(2, float64(k)/6))
	}
	return f
}

// truth is what was done to a seating.
type truth struct {
	Params
	lossDB func(f float64) float64
}

// threeDBHz searches the highest frequency with a loss of 3 dB.
func (t truth) threeDBHz() float64 {
	f := 2000.0
	for t.lossDB(f) < 10*math.Log10(2) && f > 1 {
		f /= 1.001
	}
	return f
}

func (t generator) curve(f []float64, s toy.Slit) (Curve, truth) {
	c := Curve{LevelDB: make([]float64, len(f)), VarDB: make([]float64, len(f))}
	comp := toy.Compliance(1.1e-4 * math.Exp(t.volume*t.rng.NormFloat64()))
	gain := 0.7 * t.rng.NormFloat64()
	slope, bend := t.rng.NormFloat64(), t.rng.NormFloat64()
	mass := s.Mass()
	if t.porous > 0 {
		mass *= t.porous
	}
	var wander [4]float64 // amplitudes of bumps an octave and a half apart
	for i := range wander {
		wander[i] = t.drift * t.rng.NormFloat64()
	}
	// pressure of the source on the cup, with and without the leak
	pressure := func(hz float64, leak bool) float64 {
		w := 2 * math.Pi * hz
		if t.cup != nil {
			slit := complex(0, 0)
			if leak && s.Height > 0 {
				slit = 1 / complex(s.Resistance(), w*mass)
			}
			return t.cup.level(w, comp, slit)
		}
		cup := complex(0, w*comp)
		if leak && s.Height > 0 {
			cup += 1 / complex(s.Resistance(), w*mass)
		}
		if !t.softCone {
			return 20 * math.Log10(w/cmplx.Abs(cup)) // flow falling as 1/ω²
		}
		// 40 mm cone of 0.3 g, resonance 90 Hz, as an acoustic impedance.
		const mass, area, res = 0.3e-3, 1.1e-3, 2 * math.Pi * 90
		z := complex(0.06, mass*(w-res*res/w)) / (area * area)
		return -20 * math.Log10(cmplx.Abs(1+z*cup))
	}
	for k, hz := range f {
		x := hz / 1000
		drive := 2.5*math.Log(1+math.Pow(hz/150, 2)) - 1.2*math.Exp(-math.Pow(math.Log(hz/60), 2))
		sd := t.noise * 20 / hz
		c.VarDB[k] = sd * sd
		if hz < t.lowest {
			c.VarDB[k] = math.Inf(1)
		}
		for i, a := range wander {
			drive += a * math.Exp(-math.Pow((math.Log2(hz/25)-1.5*float64(i))/1.2, 2))
		}
		c.LevelDB[k] = pressure(hz, true) + drive + gain +
			t.position*(slope*x*x+0.5*bend*x*math.Sin(3*x)) + sd*t.rng.NormFloat64() + t.scatter*t.rng.NormFloat64()
	}
	out := truth{lossDB: func(hz float64) float64 { return pressure(hz, false) - pressure(hz, true) }}
	if s.Height > 0 {
		total := comp
		if t.cup != nil {
			total *= 1 + t.cup.cone
		}
		out.Params = fromCircuit(s.Resistance(), mass, total)
	}
	return c, out
}

// study draws n seatings: a share sealed, the rest with slits of random
// height, width and depth.
func (t generator) study(f []float64, n int) ([]Curve, []truth) {
	var cs []Curve
	var ts []truth
	if t.lossy {
		t.cup = drawLossyCup(t.rng)
	}
	for i := range n {
		s := toy.Slit{Width: 0.01 + 0.04*t.rng.Float64(), Length: 0.012 + 0.01*t.rng.Float64()}
		switch u := t.rng.Float64(); {
		case t.all > 0:
			s.Height = 1e-3 * (t.all + (t.worst-t.all)*u)
		case i%max(t.every, 3) != 0:
			s.Height = 1e-3 * (0.15 + (t.worst-0.15)*u)
		}
		c, tr := t.curve(f, s)
		cs, ts = append(cs, c), append(ts, tr)
	}
	return cs, ts
}

// lossyCup is a cup as a lumped circuit has it only roughly. None of it is a
// term of the estimator's series: a driver with a resonance of its own, a
// cushion part of which is a spring of constant loss factor and part a porous
// absorber, air that is isothermal at the walls, and the cup's lowest modes
// between driver and ear.
type lossyCup struct {
	cone, coneHz, coneQ float64 // its compliance over the cavity's
	spring, absorber    float64 // loss factors, the latter at 1 kHz
	walls               float64 // area over volume, 1/m
	modeHz, modeQ       [3]float64
	mode                [3]float64 // product of the mode's shapes at driver and ear
}

func drawLossyCup(r *rand.Rand) *lossyCup {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	c := &lossyCup{
		cone: between(0.05, 0.25), coneHz: between(400, 1200), coneQ: between(0.5, 1.2),
		spring: between(0, 0.03), absorber: between(0, 0.3), walls: between(100, 200),
	}
	for k := range c.mode {
		c.modeHz[k], c.modeQ[k], c.mode[k] = between(1800, 4000), between(2, 8), between(-1, 3)
	}
	return c
}

// level returns the level at the ear in dB at angular frequency w, with a
// cavity of compliance comp and the admittance of a slit.
func (c *lossyCup) level(w, comp float64, slit complex128) float64 {
	// Boundary layer of heat, √(2κ/(ρc_pω)); Pierce, Acoustics, ch. 10, quoted
	// from memory.
	heat := 0.4 * c.walls / 2 * math.Sqrt(2*2.1e-5/w)
	hz := w / (2 * math.Pi)
	loss := c.spring + c.absorber*hz/1000
	cavity := complex(0, w*comp)*complex(1+heat, -heat-loss) + slit
	w0, cd := 2*math.Pi*c.coneHz, c.cone*comp
	md := 1 / (w0 * w0 * cd)
	driver := complex(w0*md/c.coneQ, w*md-1/(w*cd))
	near := complex(0, 0)
	for k, a := range c.mode {
		x := hz / c.modeHz[k]
		near -= complex(a*x*x, 0) / complex(1-x*x, x/c.modeQ[k])
	}
	z := 1 / cavity
	return 20 * math.Log10(cmplx.Abs((z+near/complex(0, w*comp))/(driver+z)))
}
