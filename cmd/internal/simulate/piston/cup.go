package piston

import (
	"asworn/cmd/internal/simulate"
	"math"
	"math/rand/v2"
)

// cup is one headphone model of generator A. Lengths in metres.
type cup struct {
	open           bool
	halfX, halfY   float64 // half axes of the opening in the cushion
	depth          float64 // baffle to head at nominal cushion thickness
	centre         point   // of the cup against the canal entrance at the marked position
	driver         float64 // radius
	driverX        float64 // of the driver against the cup's centre
	driverY        float64
	lean           [2]float64 // of the baffle, radians about the up and the forward axis
	wall, baffle   float64    // reflection factor at low frequencies
	softHz         float64    // above which the cushion absorbs
	gain           float64    // Pa/V scale
	resonanceHz, q float64    // of the driver with its rear load
	stiffness      float64    // compliance of the driver over that of the cup
	portR, portM   float64    // of the open back's own path to the outside
	slitWidth      float64
	slitLength     float64
	fill           float64 // multiplies the slit's resistance: hair, foam
}

// volume is that of the elliptic cylinder less a fifth for the ear.
func (c cup) volume(gap float64) float64 {
	return 0.8 * math.Pi * c.halfX * c.halfY * (c.depth + gap)
}

func (c cup) compliance(gap float64) float64 {
	return c.volume(gap) / (simulate.AirDensity * simulate.SoundSpeed * simulate.SoundSpeed)
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// drawCup invents a model. Sizes are those of ordinary circumaural headphones
// (common practice, no source).
func drawCup(r *rand.Rand, open bool, nonlinearity float64) cup {
	c := cup{
		open:  open,
		halfX: between(r, 0.024, 0.031), halfY: between(r, 0.030, 0.038), depth: between(r, 0.019, 0.027),
		centre: point{x: between(r, -0.010, -0.004), y: between(r, 0.001, 0.008)},
		driver: between(r, 0.017, 0.021), driverX: between(r, -0.002, 0.007), driverY: between(r, -0.005, 0.005),
		lean: [2]float64{between(r, -0.02, 0.2), between(r, -0.05, 0.05)},
		wall: between(r, 0.45, 0.7), baffle: between(r, 0.5, 0.75), softHz: between(r, 7e3, 14e3),
		gain: between(r, 2, 8), resonanceHz: between(r, 800, 1300), q: between(r, 0.5, 0.8),
		stiffness: between(r, 0.08, 0.2),
		slitWidth: between(r, 0.02, 0.04), slitLength: between(r, 0.012, 0.018), fill: between(r, 1, 2.5),
	}
	if open {
		c.wall, c.baffle = c.wall*0.6, c.baffle*0.5
		c.resonanceHz, c.q = between(r, 80, 120), between(r, 0.7, 1.3)
		// The path through the grille resonates with the cup at this frequency.
		f, damping := between(r, 900, 1400), between(r, 0.6, 1)
		w := 2 * math.Pi * f
		c.portM = 1 / (w * w * c.compliance(0))
		c.portR = 0.2 * damping * w * c.portM
	}
	c.depth /= math.Sqrt(nonlinearity)
	c.wall = math.Min(0.9, c.wall*math.Sqrt(nonlinearity))
	return c
}

// twin is the other side of the same headset: another driver of the same kind.
func (c cup) twin(r *rand.Rand) cup {
	c.gain *= math.Exp(0.04 * r.NormFloat64())
	c.resonanceHz *= math.Exp(0.03 * r.NormFloat64())
	c.q *= math.Exp(0.05 * r.NormFloat64())
	c.driverX += 0.0004 * r.NormFloat64()
	c.driverY += 0.0004 * r.NormFloat64()
	c.lean[0] += 0.01 * r.NormFloat64()
	return c
}

// leakPath returns the acoustic impedance of a slit under the cushion, at
// angular frequency w.
func (c cup) leakPath(slitMM, w float64) complex128 {
	r, m := slit(slitMM/1000, c.slitWidth, c.slitLength)
	return complex(c.fill*r, w*m)
}

// drive returns volume velocity (m³/s per volt) and the uniform pressure in
// the cup (Pa per volt) at frequency f in Hz. The driver is a pressure source
// behind its own stiffness, mass and resistance; it works into the cavity's
// compliance beside the leak, the grille, and the losses of the cushion.
func (c cup) drive(f, slitMM, gap float64) (u, p complex128) {
	w := 2 * math.Pi * math.Max(f, 1)
	cav := c.compliance(gap)
	// The cushion takes sound from the cavity above about 1.5 kHz; that of an
	// open back is porous and takes it earlier.
	lossHz, rate := 1500.0, 2500.0
	if c.open {
		lossHz, rate = 600, 5000
	}
	x := w / (2 * math.Pi * lossHz)
	loss := cav * rate * x * x / (1 + x*x)
	y := complex(loss, w*cav)
	if slitMM > 0 {
		y += 1 / c.leakPath(slitMM, w)
	}
	cd := c.stiffness * c.compliance(0)
	if c.open {
		y += 1 / complex(c.portR, w*c.portM)
		cd *= 20 // a soft suspension and no closed back
	}
	w0 := 2 * math.Pi * c.resonanceHz
	md := 1 / (w0 * w0 * cd)
	zd := complex(w0*md/c.q, w*md-1/(w*cd))
	za := 1 / y
	// One volt gives gain pascals in a sealed cavity at low frequencies; the
	// open back is scaled at its mass-controlled plateau instead.
	source := c.gain * (1 + 1/c.stiffness)
	if c.open {
		source = 0.5 * c.gain * md / c.portM
	}
	u = complex(source, 0) / (zd + za)
	return u, u * za
}

// sealTruth is the exact level loss of a slit, and its corner with the
// compliance of cavity and driver together.
func (c cup) sealTruth(p simulate.Placement) simulate.Seal {
	if c.open || p.SlitMM == 0 {
		return simulate.Seal{}
	}
	gap := p.GapMM / 1000
	_, m := slit(p.SlitMM/1000, c.slitWidth, c.slitLength)
	total := c.compliance(gap) + c.stiffness*c.compliance(0)
	s := simulate.Seal{CornerHz: 1 / (2 * math.Pi * math.Sqrt(m*total))}
	for i, f := range []float64{20, 50, 100} {
		_, sealed := c.drive(f, 0, gap)
		_, leaking := c.drive(f, p.SlitMM, gap)
		s.LossDB[i] = simulate.LevelDB(sealed) - simulate.LevelDB(leaking)
	}
	return s
}

// sources returns the driver's radiating points and their mirror images in
// the cup, by order of reflection, for a placement: the box around the opening
// stands for the cushion's wall, the baffle sends back what the head reflects.
func (c cup) sources(p simulate.Placement) [3][]point {
	sin, cos := math.Sincos(p.RotationDeg * math.Pi / 180)
	cx := c.centre.x + p.ForwardMM/1000
	cy := c.centre.y + p.UpMM/1000
	depth := c.depth + p.GapMM/1000
	leanX, leanY := c.lean[0]+p.TiltDeg[0]*math.Pi/180, c.lean[1]+p.TiltDeg[1]*math.Pi/180
	var out [3][]point
	add := func(order int, quad [][2]float64, mu, mv, bounce float64) {
		for _, q := range quad {
			u, v := c.driverX+c.driver*q[0], c.driverY+c.driver*q[1]
			z := depth - leanX*u - leanY*v
			// mu, mv count the walls passed: mirror in the wall at ±half.
			u, v = mirror(u, c.halfX, mu), mirror(v, c.halfY, mv)
			out[order] = append(out[order], point{
				x: cx + u*cos + v*sin, y: cy - u*sin + v*cos, z: z + bounce*2*depth,
			})
		}
	}
	add(0, fine, 0, 0, 0)
	add(1, medium, 0, 0, 1)
	for _, s := range []float64{-1, 1} {
		add(1, medium, s, 0, 0)
		add(1, medium, 0, s, 0)
		add(2, coarse, s, 0, 1)
		add(2, coarse, 0, s, 1)
		add(2, coarse, 2*s, 0, 0)
		add(2, coarse, 0, 2*s, 0)
		for _, t := range []float64{-1, 1} {
			add(2, coarse, s, t, 0)
		}
	}
	return out
}

// mirror returns the image of x after n walls at ±half.
func mirror(x, half, n float64) float64 {
	if int(n)%2 != 0 {
		return 2*half*n - x
	}
	return 2*half*n + x
}

// The quadratures of the driver: fine for the direct sound, coarser for images.
var (
	fine   = disc(3, 6)
	medium = disc(1, 7)
	coarse = disc(1, 4)
)
