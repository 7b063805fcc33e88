// Package modal is generator B of the proving ground: a physics of its own,
// so that no estimate holds by the simulator's own assumptions. A shallow cylindrical cavity
// by its modes, an ear as a diffracting rim over a Helmholtz concha, hair
// channels as the leak, and a round head on which a displaced cushion rides up.
package modal

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// World is generator B.
func World(seed uint64, d simulate.Design, open []bool) simulate.Acoustics {
	r := rand.New(rand.NewPCG(seed, 0xB))
	w := &world{}
	for range d.Listeners {
		g := drawPeople(r)
		w.ears = append(w.ears, [2]pinna{grow(g[0], d.EarStrength), grow(g[1], d.EarStrength)})
	}
	fixture := grow(drawPeople(r)[0], d.EarStrength*d.FixtureEar)
	w.ears = append(w.ears, [2]pinna{fixture, fixture})
	r = rand.New(rand.NewPCG(seed, 0xC))
	for _, o := range open {
		h := drawHeadphone(r, o, d.Nonlinearity)
		w.sets = append(w.sets, [2]headphone{h, h.other(r)})
	}
	return w
}

type world struct {
	ears [][2]pinna
	sets [][2]headphone
}

// thin returns the grid with a coarse part of half the density: the modes are broad.
func thin(g *simulate.Grid) *simulate.Grid {
	return &simulate.Grid{Hz: g.Hz, StepHz: 2 * g.StepHz, Coarse: g.Coarse/2 + 2}
}

// Headphone implements simulate.Acoustics.
func (w *world) Headphone(model, subject int, side capture.Ear, p simulate.Placement, g *simulate.Grid) []complex128 {
	h, ear := w.sets[model][side], w.ears[subject][side]
	gap, slit := h.gapAt(p), h.slitAt(p)
	depth := h.depth + gap
	at := h.inside(p, ear.places(p.MicMM))
	shapes := h.shapes(at, depth, p)
	sparse := thin(g)
	// Smooth transfers from volume velocity and from uniform pressure.
	viaU, viaP := make([]complex128, sparse.Coarse), make([]complex128, sparse.Coarse)
	field, ones := make([]complex128, len(at)), make([]complex128, len(at))
	for i := range ones {
		ones[i] = 1
	}
	terms := make([]complex128, len(h.modes))
	const c2 = simulate.SoundSpeed * simulate.SoundSpeed
	for k := range viaU {
		f := float64(k) * sparse.StepHz
		om := 2 * math.Pi * f
		front := complex(0, om*simulate.AirDensity*c2/h.volume(gap))
		for j, m := range h.modes {
			pz, q := float64(m.p)*math.Pi/depth, h.quality
			if m.p > 0 {
				q = h.qualityZ
			}
			w2 := c2 * (m.squared + pz*pz)
			terms[j] = front / complex(w2-om*om, om*math.Sqrt(w2)/q)
		}
		for i, shape := range shapes {
			var re, im float64
			for j, s := range shape {
				re += s * real(terms[j])
				im += s * imag(terms[j])
			}
			field[i] = complex(re, im)
		}
		viaU[k], viaP[k] = ear.listen(field, f), ear.listen(ones, f)
	}
	fromU, fromP := make([]complex128, len(g.Hz)), make([]complex128, len(g.Hz))
	sparse.Interpolate(viaU, fromU)
	sparse.Interpolate(viaP, fromP)
	out := make([]complex128, len(g.Hz))
	gain := complex(math.Pow(10, p.GainDB/20), 0)
	for i, f := range g.Hz {
		u, p0 := h.drive(f, slit, gap)
		out[i] = gain * (u*fromU[i] + p0*fromP[i])
	}
	return out
}

// shapes is how strongly each mode, driven by the dome, is heard at each place.
func (h headphone) shapes(at [][2]float64, depth float64, p simulate.Placement) [][]float64 {
	const height = 0.006 // the ear reaches into the cavity
	out := make([][]float64, len(at))
	for i, a := range at {
		out[i] = make([]float64, len(h.modes))
		// A leaning lid drives the side it is nearer to more: first order in the lean.
		lean := 1 + (p.TiltDeg[0]*a[0]+p.TiltDeg[1]*a[1])*math.Pi/180/depth
		for j, m := range h.modes {
			out[i][j] = lean * m.across(a[0], a[1], h.radius) * m.driven / m.norm * math.Cos(float64(m.p)*math.Pi*height/depth)
		}
	}
	return out
}

// inside turns places at the ear into places in the cavity, whose top leans
// toward the nose by the rotation.
func (h headphone) inside(p simulate.Placement, at [][2]float64) [][2]float64 {
	sin, cos := math.Sincos(p.RotationDeg * math.Pi / 180)
	cx, cy := h.markX+p.ForwardMM/1000, h.markY+p.UpMM/1000
	out := make([][2]float64, len(at))
	for i, a := range at {
		x, y := a[0]-cx, a[1]-cy
		out[i] = [2]float64{x*cos - y*sin, x*sin + y*cos}
	}
	return out
}

// Loudspeaker implements simulate.Acoustics: a plane wave from 45° off the nose.
func (w *world) Loudspeaker(subject int, side capture.Ear, yawDeg float64, mic [2]float64, g *simulate.Grid) []complex128 {
	ear := w.ears[subject][side]
	if side == capture.Right {
		yawDeg = -yawDeg
	}
	from := math.Cos((45 + yawDeg) * math.Pi / 180)
	at := ear.places(mic)
	sparse := thin(g)
	wave := make([]complex128, sparse.Coarse)
	field := make([]complex128, len(at))
	for k := range wave {
		f := float64(k) * sparse.StepHz
		for i, a := range at {
			field[i] = cmplx.Exp(complex(0, -2*math.Pi*f/simulate.SoundSpeed*(0.05-a[0]*from)))
		}
		x := f / 800
		wave[k] = ear.listen(field, f) * complex(1+(ear.flare-1)*x*x/(1+x*x), 0)
	}
	out := make([]complex128, len(g.Hz))
	sparse.Interpolate(wave, out)
	for i, f := range g.Hz {
		s := complex(0, f/60)
		out[i] *= 0.5 * s * s / (s*s + 1.5*s + 1)
	}
	return out
}

// Canal implements simulate.Acoustics: a lossy tube whose far end reflects
// less at high frequencies.
func (w *world) Canal(subject int, side capture.Ear, g *simulate.Grid) []complex128 {
	ear := w.ears[subject][side]
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		refl := complex(1-0.4*ear.drum*f*f/(f*f+4e6), 0)
		kl := 2 * math.Pi * f / simulate.SoundSpeed * (ear.meatus + 0.003)
		out[i] = (1 + refl) * cmplx.Exp(complex(-0.03, -kl)) / (1 + refl*cmplx.Exp(complex(-0.06, -2*kl)))
	}
	return out
}

// Seal implements simulate.Acoustics.
func (w *world) Seal(model, _ int, side capture.Ear, p simulate.Placement) simulate.Seal {
	return w.sets[model][side].seal(p)
}
