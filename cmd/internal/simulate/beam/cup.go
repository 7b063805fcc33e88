package beam

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/cmd/internal/simulate"
)

// echo is a plane wave that the cup's walls send back, fixed to the cup.
type echo struct {
	dir    [3]float64 // where it comes from
	path   float64    // how far it has come on top of the depth, m
	amount float64    // against the beam
	softHz float64    // above which foam has taken it
}

// cup is one side of a model. Lengths in metres, in the cup's own axes.
type cup struct {
	open    bool
	depth   float64 // driver to the side of the head
	area    float64 // of the opening, m²
	centre  [2]float64
	driver  [2]float64 // its axis against the cup's middle
	tilt    [2]float64 // of the beam, radians
	beam    float64    // complex source distance: the wider the driver, the narrower the beam
	echoes  []echo
	gain    float64 // Pa/V in the sealed cup
	soft    float64 // driver's compliance over the cup's
	hz, q   float64 // of the driver
	breakHz float64 // its cone bends above
	breakQ  float64
	grille  [2]float64 // resistance and mass of the open back
	width   float64    // of the slit under a lifted cushion
	length  float64
	taper   float64 // its height at either end is 1 ± taper times the middle's
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func drawCup(r *rand.Rand, open bool, nonlinear float64) cup {
	c := cup{
		open: open, depth: between(r, 0.020, 0.028) / math.Sqrt(nonlinear), area: between(r, 0.0026, 0.0036),
		centre: [2]float64{between(r, -0.012, -0.005), between(r, 0.001, 0.009)},
		driver: [2]float64{between(r, 0, 0.006), between(r, -0.004, 0.004)},
		tilt:   [2]float64{between(r, 0, 0.25), between(r, -0.08, 0.08)}, beam: between(r, 0.006, 0.012),
		gain: between(r, 2.5, 8), soft: between(r, 0.15, 0.5), hz: between(r, 700, 1200), q: between(r, 0.45, 0.8),
		breakHz: between(r, 5500, 8500), breakQ: between(r, 1.5, 3),
		width: between(r, 0.02, 0.04), length: between(r, 0.012, 0.018), taper: between(r, 0.1, 0.35),
	}
	for range 9 {
		phi, flat := 2*math.Pi*r.Float64(), between(r, 0.3, 0.95)
		e := echo{
			dir:  [3]float64{flat * math.Cos(phi), flat * math.Sin(phi), math.Sqrt(1 - flat*flat)},
			path: between(r, 0.015, 0.09), softHz: between(r, 7e3, 16e3), amount: between(r, 0.2, 0.55) * math.Sqrt(nonlinear),
		}
		if open {
			e.amount *= 0.5
		}
		c.echoes = append(c.echoes, e)
	}
	if open {
		c.hz, c.q, c.soft = between(r, 70, 110), between(r, 0.6, 1), between(r, 4, 8)
		w := 2 * math.Pi * between(r, 900, 1500)
		m := 1 / (w * w * c.capacity(0))
		c.grille = [2]float64{between(r, 0.4, 0.8) * w * m, m}
	}
	return c
}

func (c cup) twin(r *rand.Rand) cup {
	c.gain *= math.Exp(0.04 * r.NormFloat64())
	c.hz *= math.Exp(0.03 * r.NormFloat64())
	c.breakHz *= math.Exp(0.02 * r.NormFloat64())
	for i := range c.driver {
		c.driver[i] += 0.0003 * r.NormFloat64()
	}
	echoes := c.echoes
	c.echoes = nil
	for _, e := range echoes {
		e.path += 0.0002 * r.NormFloat64()
		c.echoes = append(c.echoes, e)
	}
	return c
}

// capacity is the compliance of the air in the cup, m³/Pa.
func (c cup) capacity(gap float64) float64 {
	return 0.8 * c.area * (c.depth + gap) / (simulate.AirDensity * simulate.SoundSpeed * simulate.SoundSpeed)
}

// inside turns places at the ear into places in the cup, whose top leans toward
// the nose by the rotation; the third stays the height over the head.
func (c cup) inside(p simulate.Placement, at [][3]float64) [][3]float64 {
	sin, cos := math.Sincos(p.RotationDeg * math.Pi / 180)
	out := make([][3]float64, len(at))
	for i, a := range at {
		x, y := a[0]-c.centre[0]-p.ForwardMM/1000, a[1]-c.centre[1]-p.UpMM/1000
		out[i] = [3]float64{x*cos - y*sin, x*sin + y*cos, a[2]}
	}
	return out
}

// field is the sound pressure at a place in the cup per volume velocity
// (Pa·s/m³): a point source moved into the complex plane, whose field is a beam
// (Deschamps, Electronics Letters 7(23), 1971; quoted from memory), twice as
// strong at the head's surface, and its echoes.
func (c cup) field(at [3]float64, f float64, p simulate.Placement) complex128 {
	k := 2 * math.Pi * f / simulate.SoundSpeed
	depth := c.depth + p.GapMM/1000
	lean := [2]float64{c.tilt[0] + p.TiltDeg[0]*math.Pi/180, c.tilt[1] + p.TiltDeg[1]*math.Pi/180}
	// Distance to a source that lies j·beam behind the driver along its axis.
	dx := complex(at[0]-c.driver[0], c.beam*lean[0])
	dy := complex(at[1]-c.driver[1], c.beam*lean[1])
	dz := complex(depth-at[2]-lean[0]*at[0]-lean[1]*at[1], c.beam)
	away := cmplx.Sqrt(dx*dx + dy*dy + dz*dz)
	// On its axis the beam is exp(kb) stronger than its source; that is the driver's.
	sum := cmplx.Exp(complex(0, -k)*(away-complex(0, c.beam))) / away * complex(depth, 0)
	for _, e := range c.echoes {
		x := f / e.softHz
		along := e.path + depth - at[0]*e.dir[0] - at[1]*e.dir[1] - at[2]*e.dir[2]
		sum += cmplx.Exp(complex(0, -k*along)) * complex(e.amount/(1+x*x), 0)
	}
	return complex(0, 2*f*simulate.AirDensity/depth) * sum
}

// leakage is the admittance at w of a slit that is lifted more at one end: thin
// strips side by side, each a narrow slit (12ηl/(h³b), 6ρl/(5hb)).
func (c cup) leakage(slitMM, w float64) complex128 {
	const strips = 6
	b := c.width / strips
	y := complex128(0)
	for i := range strips {
		h := slitMM / 1000 * (1 + c.taper*(2*(float64(i)+0.5)/strips-1))
		y += 1 / complex(12*simulate.AirViscosity*c.length/(h*h*h*b), w*6*simulate.AirDensity*c.length/(5*h*b))
	}
	return y
}

// drive returns volume velocity (m³/s per volt) and uniform pressure (Pa per volt).
func (c cup) drive(f float64, p simulate.Placement) (u, p0 complex128) {
	w := 2 * math.Pi * math.Max(f, 1)
	cavity := w * c.capacity(p.GapMM/1000)
	x := f / 1800
	y := complex(0.9*cavity*x/(1+x*x), cavity/(1+0.3*x*x)) // foam: takes, and stiffens
	if p.SlitMM > 0 && !c.open {
		y += c.leakage(p.SlitMM, w)
	}
	cd := c.soft * c.capacity(0)
	source := c.gain * (1 + 1/c.soft)
	w0 := 2 * math.Pi * c.hz
	md := 1 / (w0 * w0 * cd)
	if c.open {
		y += 1 / complex(c.grille[0], w*c.grille[1])
		source = c.gain * md / c.grille[1]
	}
	u = complex(source, 0) / (complex(w0*md/c.q, w*md-1/(w*cd)) + 1/y)
	// A cone that bends: a second resonance beside the piston's motion.
	b := f / c.breakHz
	bent := 1 + complex(0.5*b*b, 0)/complex(1-b*b, b/c.breakQ)
	return u * bent, u / y
}

func (c cup) seal(p simulate.Placement) simulate.Seal {
	if c.open || p.SlitMM == 0 {
		return simulate.Seal{}
	}
	// The mass of strips side by side, where mass decides.
	mass := 6 * simulate.AirDensity * c.length / (5 * p.SlitMM / 1000 * c.width)
	total := c.capacity(p.GapMM/1000) + c.soft*c.capacity(0)
	s := simulate.Seal{CornerHz: 1 / (2 * math.Pi * math.Sqrt(mass*total))}
	tight := p
	tight.SlitMM = 0
	for i, f := range []float64{20, 50, 100} {
		_, sealed := c.drive(f, tight)
		_, leaking := c.drive(f, p)
		s.LossDB[i] = 20 * math.Log10(cmplx.Abs(sealed)/cmplx.Abs(leaking))
	}
	return s
}
