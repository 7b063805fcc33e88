package lattice

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/cmd/internal/simulate"
)

const (
	rho   = simulate.AirDensity
	sound = simulate.SoundSpeed
)

// cup is one side of a headphone. Lengths in metres, in the cup's own axes.
type cup struct {
	open           bool
	mesh           *mesh
	depth          float64    // lid to the side of the head at the centre
	wedge          [2]float64 // slope of the depth, forward and up
	centre         [2]float64 // of the cup against the entrance, at the mark
	pinch          float64    // how far the cushion pushes the pinna inward
	driver, radius float64    // its place on the forward axis (it sits a little toward the nose), its radius
	driverUp       float64
	wall, cloth    float64    // specific admittances of cushion and lid
	foot           [3]float64 // slit: direction (radians from forward), half angle, length along the flow (m)
	// Driver with its back volume: acoustic pressure (Pa/V), compliance
	// (m³/Pa), mass (kg/m⁴) and resistance (Pa·s/m³).
	source, compliance, mass, resistance float64
	gridR, gridM                         float64 // grille of an open back: Pa·s/m, kg/m²
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// drawCup invents a headphone; nonlinear > 1 brings the lid nearer and makes
// the cushion push harder and absorb less.
func drawCup(r *rand.Rand, open bool, nonlinear float64) cup {
	c := cup{open: open}
	a, b := between(r, 0.029, 0.032), between(r, 0.035, 0.039)
	c.mesh = newMesh(a, b, between(r, 0.6, 0.8), 12, 15)
	c.depth = between(r, 0.017, 0.020) * math.Pow(nonlinear, -0.2)
	c.wedge = [2]float64{between(r, -0.10, 0), between(r, -0.03, 0.03)}
	c.centre = [2]float64{between(r, -0.011, -0.007), between(r, 0.003, 0.008)}
	c.pinch = between(r, 0.03, 0.07) * nonlinear
	c.driver, c.driverUp = between(r, 0.001, 0.006), between(r, -0.004, 0.002)
	c.radius = between(r, 0.014, 0.018)
	c.wall, c.cloth = between(r, 0.12, 0.25)/nonlinear, between(r, 0.03, 0.07)
	c.foot = [3]float64{between(r, 3.4, 4.4), between(r, 0.4, 0.6), between(r, 0.012, 0.016)}
	air := 4 * a * b * 0.85 * 0.012 / (rho * sound * sound)
	gain, q := between(r, 4.5, 6.5), between(r, 0.5, 0.7)
	if !open {
		c.compliance = air * between(r, 1.2, 1.8)
		w0 := 2 * math.Pi * between(r, 850, 1150)
		c.mass = 1 / (w0 * w0 * c.compliance)
		c.resistance = w0 * c.mass / q
		c.source = gain * (1 + air/c.compliance)
		return c
	}
	c.wall = between(r, 0.25, 0.4) / nonlinear
	c.mass = between(r, 60, 90)
	w0 := 2 * math.Pi * between(r, 60, 90)
	c.compliance = 1 / (w0 * w0 * c.mass)
	c.resistance = w0 * c.mass / (1.4 * q)
	c.gridR, c.gridM = between(r, 25, 45), rho*between(r, 0.024, 0.032)
	c.source = gain * (1 + c.mass*3*a*b/c.gridM)
	return c
}

// twin is the other side of the same headphone, as alike as a factory makes it.
func (c cup) twin(r *rand.Rand) cup {
	part := func(v *float64, sd float64) { *v *= 1 + sd*r.NormFloat64() }
	part(&c.depth, 0.01)
	part(&c.wall, 0.05)
	part(&c.compliance, 0.03)
	part(&c.resistance, 0.03)
	part(&c.source, 0.02)
	c.driver += 0.0003 * r.NormFloat64()
	c.driverUp += 0.0003 * r.NormFloat64()
	return c
}

// placed is a cup on an ear: the air between them, with the driver and the
// entrance as places in it.
type placed struct {
	cup    *cup
	air    *cavity
	driver []float64 // the driver's face: drives, and feels the mean pressure
	entry  []float64 // the blocked entrance
}

// on puts the cup on an ear.
func (c *cup) on(e *ear, p simulate.Placement) *placed {
	sin, cos := math.Sincos(p.RotationDeg * math.Pi / 180)
	cx, cy := c.centre[0]+p.ForwardMM/1000, c.centre[1]+p.UpMM/1000
	m := c.mesh
	s := surfaces{height: make([]float64, len(m.node)), below: make([]float64, len(m.node))}
	lean := [2]float64{c.wedge[0] + p.TiltDeg[0]*math.Pi/180, c.wedge[1] + p.TiltDeg[1]*math.Pi/180}
	for i, n := range m.node {
		// The cushion's wall pushes the pinna inward: what is found at n lies
		// farther out on a free ear.
		r2 := n[0]*n[0]/(m.a*m.a) + n[1]*n[1]/(m.b*m.b)
		out := 1 + c.pinch*r2*r2
		u, v := n[0]*out, n[1]*out
		x, y := cx+u*cos+v*sin, cy-u*sin+v*cos
		free := c.depth + p.GapMM/1000 + lean[0]*n[0] + lean[1]*n[1] - e.relief(x, y)
		s.height[i] = pressed(free)
		s.below[i] = e.absorption(x, y)
	}
	s.lid = func(x, y float64) float64 { return c.cloth * (1 - c.face(x, y)) }
	s.rim = func(_, _ float64) float64 { return c.wall }
	if c.open {
		s.ventLid = func(x, y float64) float64 { return 1 - c.face(x, y) }
	} else if p.SlitMM > 0 {
		s.ventRim = func(x, y float64) float64 {
			d := math.Remainder(math.Atan2(y/m.b, x/m.a)-c.foot[0], 2*math.Pi) / c.foot[1]
			return math.Exp(-d * d / 2)
		}
	}
	air := newCavity(m, s)
	dx, dy := p.MicMM[0]/1000-cx, p.MicMM[1]/1000-cy
	ex, ey := dx*cos-dy*sin, dx*sin+dy*cos
	return &placed{
		cup: c, air: air,
		driver: air.spread(true, c.face),
		entry:  air.spread(false, plug(ex, ey)),
	}
}

// plug is the face of a microphone that fills the canal's entrance.
func plug(x0, y0 float64) func(x, y float64) float64 {
	return func(x, y float64) float64 { return hill{x0, y0, 0.0028, 0.0028, 1}.at(x, y) }
}

// pressed is the height of the air where a free pinna would leave h: a pinna
// that touches the lid yields, and some air stays between.
func pressed(h float64) float64 {
	const least, soft = 0.0025, 0.0015
	return least + soft*math.Log1p(math.Exp((h-least)/soft))
}

// face is 1 on the driver and 0 beside it, with a soft edge (its surround).
func (c *cup) face(x, y float64) float64 {
	return 1 / (1 + math.Exp((math.Hypot(x-c.driver, y-c.driverUp)-c.radius)/0.0015))
}

// porous is how the absorption of thin porous surfaces grows with frequency.
func porous(f float64) float64 {
	x := f / 2500
	return 0.001 + 0.999*x*x/(1+x*x)
}

// slit is jωρ times the admittance per metre of width of a slit of height t
// and length l along the flow: exact for viscous flow between parallel plates
// (1 − tanh σ/σ, σ = (t/2)√(jωρ/η)). Its limits are the resistance 12ηl/(t³w)
// and the mass 6ρl/(5tw).
func slit(f, t, l float64) complex128 {
	w := 2 * math.Pi * f
	s := complex(t/2, 0) * cmplx.Sqrt(complex(0, w*rho/simulate.AirViscosity))
	return complex(t/l, 0) * (1 - cmplx.Tanh(s)/s)
}

// vent is jωρ times the admittance that the cavity's vent matrix is multiplied by.
func (c *cup) vent(f, slitMM float64) complex128 {
	w := 2 * math.Pi * f
	if c.open {
		// A grille of resistance and mass into the load of free air.
		ka := w / sound * 0.025
		return complex(0, w*rho) / complex(c.gridR+rho*sound*ka*ka/(2+ka*ka), w*c.gridM)
	}
	if slitMM <= 0 {
		return 0
	}
	return slit(f, slitMM/1000, c.foot[2])
}

// impedances returns pressure per volume velocity of the driver at its own face
// and at the entrance; x is workspace.
func (p *placed) impedances(f, slitMM float64, x []complex128) (face, entry complex128) {
	k := 2 * math.Pi * f / sound
	for i, v := range p.driver {
		x[i] = complex(v, 0)
	}
	p.air.solve(k, complex(0, k*porous(f)), p.cup.vent(f, slitMM), x)
	for i, v := range x {
		face += v * complex(p.driver[i], 0)
		entry += v * complex(p.entry[i], 0)
	}
	scale := complex(0, 2*math.Pi*f*rho)
	return face * scale, entry * scale
}

// lump is the cavity at low frequencies: volume (m³), absorbing surface (m²)
// and vent (m² of a grille, m of a slit).
type lump struct {
	cup                   *cup
	volume, surface, vent float64
}

func (p *placed) lump() lump {
	return lump{p.cup, p.air.volume(), p.air.uniform(p.air.b), p.air.uniform(p.air.v)}
}

// impedance of a uniform pressure.
func (l lump) impedance(f, slitMM float64) complex128 {
	w := 2 * math.Pi * f
	k := w / sound
	return complex(0, w*rho) / (complex(-k*k*l.volume, k*porous(f)*l.surface) + l.cup.vent(f, slitMM)*complex(l.vent, 0))
}

// pressure at the entrance, Pa/V, of the driver working into what it feels.
func (c *cup) pressure(f float64, face, entry complex128) complex128 {
	w := 2 * math.Pi * f
	return complex(c.source, 0) * entry / (complex(c.resistance, w*c.mass-1/(w*c.compliance)) + face)
}

// seal is the truth about the leak, from the same lattice with and without it.
func (c *cup) seal(e *ear, p simulate.Placement) simulate.Seal {
	if c.open || p.SlitMM <= 0 {
		return simulate.Seal{}
	}
	on := c.on(e, p)
	width := on.air.uniform(on.air.v)
	mass := 6 * rho * c.foot[2] / (5 * p.SlitMM / 1000 * width)
	s := simulate.Seal{CornerHz: 1 / (2 * math.Pi * math.Sqrt(mass*(on.air.compliance()+c.compliance)))}
	x := make([]complex128, len(on.driver))
	for i, f := range []float64{20, 50, 100} {
		var level [2]float64
		for j, t := range []float64{0, p.SlitMM} {
			face, entry := on.impedances(f, t, x)
			level[j] = 20 * math.Log10(cmplx.Abs(c.pressure(f, face, entry)))
		}
		s.LossDB[i] = level[0] - level[1]
	}
	return s
}
