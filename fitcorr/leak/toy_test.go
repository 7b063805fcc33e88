package leak

import (
	"math"
	"math/rand/v2"
)

// toy makes seatings of one ear from the circuit's elements, not from the
// estimator's parameters: a driver with a resonance on a closed volume, slits
// of given height, a position effect that grows with frequency, microphone
// gain and noise.
type toy struct {
	rng      *rand.Rand
	position float64 // dB at 1 kHz, standard deviation
	noise    float64 // dB, at 20 Hz; falls as 1/f
}

func gridHz() []float64 {
	var f []float64
	for k := range 35 {
		f = append(f, 18.3*math.Pow(2, float64(k)/6))
	}
	return f
}

const toyVolume = 1.1e-4 // m³

func (t toy) curve(f []float64, s Slit) (Curve, Params) {
	c := Curve{LevelDB: make([]float64, len(f)), VarDB: make([]float64, len(f))}
	r, m, comp := s.Resistance(), s.Mass(), Compliance(toyVolume)
	gain := 0.7 * t.rng.NormFloat64()
	slope, bend := t.rng.NormFloat64(), t.rng.NormFloat64()
	for k, hz := range f {
		w := 2 * math.Pi * hz
		// Admittances add: cup jωC, leak 1/(R + jωM); pressure of a unit flow.
		cup := complex(0, w*comp)
		p := 1 / cup
		if s.Height > 0 {
			p = 1 / (cup + 1/complex(r, w*m))
		}
		x := hz / 1000
		drive := 2.5*math.Log(1+math.Pow(hz/150, 2)) - 1.2*math.Exp(-math.Pow(math.Log(hz/60), 2))
		sd := t.noise * 20 / hz
		c.VarDB[k] = sd * sd
		c.LevelDB[k] = 20*math.Log10(abs(p)*w) + drive + gain +
			t.position*(slope*x*x+0.5*bend*x*math.Sin(3*x)) + sd*t.rng.NormFloat64() + 0.03*t.rng.NormFloat64()
	}
	truth := Params{}
	if s.Height > 0 {
		truth = FromCircuit(r, m, comp)
	}
	return c, truth
}

func abs(z complex128) float64 { return math.Hypot(real(z), imag(z)) }

// seatings draws n seatings: a share sealed, the rest with slits of random
// height, width and depth.
func (t toy) seatings(f []float64, n int) ([]Curve, []Params) {
	var cs []Curve
	var ps []Params
	for i := range n {
		s := Slit{Width: 0.01 + 0.04*t.rng.Float64(), Length: 0.012 + 0.01*t.rng.Float64()}
		if i%3 != 0 {
			s.Height = 1e-3 * (0.15 + 0.6*t.rng.Float64())
		}
		c, p := t.curve(f, s)
		cs, ps = append(cs, c), append(ps, p)
	}
	return cs, ps
}
