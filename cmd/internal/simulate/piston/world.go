// Package piston is generator A of invented studies: a piston driver in a cup over
// an ear; docs/developing/simulation.md describes it and lists its sources.
package piston

import (
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// World is generator A: a piston driver by the Rayleigh integral, mirrored in
// the walls of a cup, over an ear of scattering points and concha resonances;
// below the first mode of the cup, a circuit of driver, cavity and slit leak.
func World(seed uint64, d simulate.Design, open []bool) simulate.Acoustics {
	r := rand.New(rand.NewPCG(seed, simulate.StreamWorld))
	w := &world{}
	for range d.Listeners + 1 {
		shapes := drawShapes(r)
		w.ears = append(w.ears, [2]ear{shapes[0].build(d.EarStrength), shapes[1].build(d.EarStrength)})
	}
	// The fixture's two ears are castings of one shape, its canal a coupler.
	fixture := &w.ears[d.Listeners]
	shape := drawShapes(r)[0]
	fixture[0] = shape.build(d.EarStrength * d.FixtureEar)
	fixture[1] = fixture[0]
	for e := range fixture {
		fixture[e].canal = canal{length: 0.0225, radius: 0.00375, load: 1}
	}
	// A stream of their own: other listeners wear the same models.
	r = rand.New(rand.NewPCG(seed, simulate.StreamCups))
	for _, o := range open {
		left := drawCup(r, o, d.Nonlinearity)
		w.cups = append(w.cups, [2]cup{left, left.twin(r)})
	}
	return w
}

type world struct {
	ears [][2]ear
	cups [][2]cup
}

// Headphone implements Acoustics.
func (w *world) Headphone(model, subject int, side capture.Ear, p simulate.Placement, g *simulate.Grid) []complex128 {
	c, e := w.cups[model][side], w.ears[subject][side]
	src := c.sources(p)
	at := e.receivers(p.MicMM)
	area := math.Pi * c.driver * c.driver
	// At the head every wave meets its own reflection: the factor of two less
	// what skin and hair take.
	const skin = 1.9
	// Two smooth transfers are summed on the coarse grid: from the driver's
	// volume velocity through the sound waves in the cup, and from the uniform
	// pressure in it. The circuit between them is taken at every frequency.
	waves, uniform := make([][]complex128, len(at)), make([][]complex128, len(at))
	var order [3][]complex128
	for i, a := range at {
		for o := range order {
			order[o] = make([]complex128, g.Coarse)
			rayleigh(order[o], g.StepHz, src[o], area/float64(len(src[o])/images[o]), a)
		}
		uniform[i] = make([]complex128, g.Coarse)
		for n := range order[0] {
			f := float64(n) * g.StepHz
			soft := 1 / (1 + (f/c.softHz)*(f/c.softHz))
			one := complex(c.wall*soft, 0)
			sum := order[0][n] + one*order[1][n] + one*one*order[2][n]
			order[0][n] = complex(0, f*simulate.AirDensity*skin/area) * sum
			uniform[i][n] = 1
		}
		waves[i] = order[0]
	}
	fromU, fromP := make([]complex128, len(g.Hz)), make([]complex128, len(g.Hz))
	g.Interpolate(e.gather(waves, at, g.StepHz), fromU)
	g.Interpolate(e.gather(uniform, at, g.StepHz), fromP)
	gain := complex(math.Pow(10, p.GainDB/20), 0)
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		u, p0 := c.drive(f, p.SlitMM, p.GapMM/1000)
		out[i] = gain * (u*fromU[i] + p0*fromP[i])
	}
	return out
}

// images is the number of mirror images per order of reflection.
var images = [3]int{1, 5, 12}

// Loudspeaker implements Acoustics: a plane wave from 60° to each side of the
// nose, on the side of a large head.
func (w *world) Loudspeaker(subject int, side capture.Ear, yawDeg float64, micMM [2]float64, g *simulate.Grid) []complex128 {
	turn := yawDeg
	if side == capture.Right {
		turn = -yawDeg
	}
	sin, cos := math.Sincos((60 + turn) * math.Pi / 180)
	out := w.freeField(subject, side, point{x: cos, z: sin}, micMM, g)
	for i, f := range g.Hz {
		out[i] *= highPass(f, 55)
	}
	return out
}

// freeField is the pressure at the blocked entrance for a plane wave of one
// pascal from a direction (a unit vector toward the source).
func (w *world) freeField(subject int, side capture.Ear, from point, micMM [2]float64, g *simulate.Grid) []complex128 {
	e := w.ears[subject][side]
	at := e.receivers(micMM)
	field := make([][]complex128, len(at))
	for i, a := range at {
		field[i] = make([]complex128, g.Coarse)
		// Distance along the wave, from a plane far enough to stay causal.
		addWave(field[i], g.StepHz, 0.1-a.x*from.x-a.y*from.y-a.z*from.z, 1)
	}
	out := make([]complex128, len(g.Hz))
	g.Interpolate(e.gather(field, at, g.StepHz), out)
	for i, f := range g.Hz {
		x := f / 700
		out[i] *= complex(1+(e.headShelf-1)*x*x/(1+x*x), 0)
	}
	return out
}

// Diffuse is the level at the drum in a diffuse field of one pascal, in dB:
// the power average over directions on this ear's side of the head, spread
// evenly on a spiral; the far side arrives weaker and is left out.
func (w *world) Diffuse(subject int, g *simulate.Grid) []float64 {
	const directions = 60
	power := make([]float64, len(g.Hz))
	for d := range directions {
		z := (float64(d) + 0.5) / directions
		phi := float64(d) * math.Pi * (3 - math.Sqrt(5))
		r := math.Sqrt(1 - z*z)
		from := point{r * math.Cos(phi), r * math.Sin(phi), z}
		for i, p := range w.freeField(subject, capture.Left, from, [2]float64{}, g) {
			power[i] += (real(p)*real(p) + imag(p)*imag(p)) / directions
		}
	}
	out := make([]float64, len(g.Hz))
	for i, t := range w.Canal(subject, capture.Left, g) {
		out[i] = 10*math.Log10(power[i]) + simulate.LevelDB(t)
	}
	return out
}

// highPass is a Butterworth high-pass of second order.
func highPass(f, f0 float64) complex128 {
	s := complex(0, f/f0)
	return s * s / (s*s + complex(math.Sqrt2, 0)*s + 1)
}

// Canal implements Acoustics.
func (w *world) Canal(subject int, side capture.Ear, g *simulate.Grid) []complex128 {
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		out[i] = w.ears[subject][side].canal.transfer(f)
	}
	return out
}

// Seal implements Acoustics.
func (w *world) Seal(model, _ int, side capture.Ear, p simulate.Placement) simulate.Seal {
	return w.cups[model][side].sealTruth(p)
}
