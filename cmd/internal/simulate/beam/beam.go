// Package beam is generator D of the proving ground, a physics of its own: the
// driver as a complex-source beam, the sound that a cup sends back as plane waves
// that stay with the cup, a pinna of reflecting facets, a concha that is a short
// transmission line, and a leak under a cushion that is lifted at one end. Its
// ears differ by about 3 dB above 2 kHz, by broad and narrow features that no
// other generator has.
package beam

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// World is generator D.
func World(seed uint64, d simulate.Design, open []bool) simulate.Acoustics {
	r := rand.New(rand.NewPCG(seed, 0xD0))
	w := &world{}
	for range d.Listeners {
		w.ears = append(w.ears, drawEars(r, d.EarStrength))
	}
	fixture := drawEars(r, d.EarStrength*d.FixtureEar)
	fixture[1] = fixture[0]
	w.ears = append(w.ears, fixture)
	r = rand.New(rand.NewPCG(seed, 0xD1)) // other listeners wear the same models
	for _, o := range open {
		c := drawCup(r, o, d.Nonlinearity)
		w.cups = append(w.cups, [2]cup{c, c.twin(r)})
	}
	return w
}

type world struct {
	ears [][2]ear
	cups [][2]cup
}

// Headphone implements simulate.Acoustics: a uniform pressure by the circuit, and
// the beam with its echoes on top.
func (w *world) Headphone(model, subject int, side capture.Ear, p simulate.Placement, g *simulate.Grid) []complex128 {
	c, e := &w.cups[model][side], &w.ears[subject][side]
	at := e.places(p.MicMM)
	field, ones := make([]complex128, len(at)), make([]complex128, len(at))
	for i := range ones {
		ones[i] = 1
	}
	inCup := c.inside(p, at)
	viaU, viaP := make([]complex128, g.Coarse), make([]complex128, g.Coarse)
	for n := range viaU {
		f := float64(n) * g.StepHz
		for i, a := range inCup {
			field[i] = c.field(a, f, p)
		}
		viaU[n], viaP[n] = e.listen(field, f), e.listen(ones, f)
	}
	fromU, fromP := make([]complex128, len(g.Hz)), make([]complex128, len(g.Hz))
	g.Interpolate(viaU, fromU)
	g.Interpolate(viaP, fromP)
	out := make([]complex128, len(g.Hz))
	gain := math.Pow(10, p.GainDB/20)
	for i, f := range g.Hz {
		u, p0 := c.drive(f, p)
		out[i] = complex(gain*e.texture(f), 0) * (u*fromU[i] + p0*fromP[i])
	}
	return out
}

// Loudspeaker implements simulate.Acoustics: a plane wave from 40° off the nose,
// 10° above the horizon.
func (w *world) Loudspeaker(subject int, side capture.Ear, yawDeg float64, mic [2]float64, g *simulate.Grid) []complex128 {
	e := &w.ears[subject][side]
	if side == capture.Right {
		yawDeg = -yawDeg
	}
	az, el := (40+yawDeg)*math.Pi/180, 10*math.Pi/180
	dir := [3]float64{math.Cos(az) * math.Cos(el), math.Sin(el), math.Sin(az) * math.Cos(el)}
	at := e.places(mic)
	field := make([]complex128, len(at))
	wave := make([]complex128, g.Coarse)
	for n := range wave {
		f := float64(n) * g.StepHz
		k := 2 * math.Pi * f / simulate.SoundSpeed
		for i, a := range at {
			field[i] = cmplx.Exp(complex(0, -k*(0.06-a[0]*dir[0]-a[1]*dir[1]-a[2]*dir[2])))
		}
		wave[n] = e.listen(field, f)
	}
	out := make([]complex128, len(g.Hz))
	g.Interpolate(wave, out)
	for i, f := range g.Hz {
		x := complex(0, f/65)
		shade := (1 + complex(0, f/500)) / (1 + complex(0, f/900)) // the head's side, 5 dB
		out[i] *= complex(e.texture(f), 0) * shade * x * x / (x*x + 1.2*x + 1)
	}
	return out
}

// Canal implements simulate.Acoustics.
func (w *world) Canal(subject int, side capture.Ear, g *simulate.Grid) []complex128 {
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		out[i] = w.ears[subject][side].canal(f)
	}
	return out
}

// Seal implements simulate.Acoustics.
func (w *world) Seal(model, _ int, side capture.Ear, p simulate.Placement) simulate.Seal {
	return w.cups[model][side].seal(p)
}
