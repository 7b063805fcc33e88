// Package toy invents small studies for the tests of fitcorr, with physics of its
// own and known truth.
package toy

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// The toy is physics of its own, unlike the estimator's statistics: a driver
// of point sources on a disk in front of an ear, images of it in the cup's
// rim, and a pinna of point reflectors with a concha resonance. Levels follow
// from summed pressures. A study of it knows its truth.

type point struct{ x, y, z, gain float64 } // mm; x forward, y up, z out of the head

// Ear is an invented ear: points that reflect, and the resonance of its concha.
type Ear struct {
	reflectors []point
	conchaHz   float64
	conchaDB   float64
	VolumeDB   float64
}

// NewEar draws an ear; strength multiplies its differences from the mean, 1 being usual.
func NewEar(rng *rand.Rand, strength float64) Ear {
	base := []point{{-9, 4, 6, 0.45}, {-6, 12, 7, 0.35}, {-12, -6, 5, 0.3}, {5, -10, 6, 0.25}, {-16, 8, 9, 0.3}}
	e := Ear{conchaHz: 4300 * math.Exp(0.07*strength*rng.NormFloat64()), conchaDB: 9 + 1.2*strength*rng.NormFloat64()}
	for _, b := range base {
		e.reflectors = append(e.reflectors, e.jitter(rng, b, strength))
	}
	e.VolumeDB = 0.5 * strength * rng.NormFloat64()
	return e
}

func (Ear) jitter(rng *rand.Rand, b point, strength float64) point {
	return point{b.x + 1.3*strength*rng.NormFloat64(), b.y + 1.3*strength*rng.NormFloat64(),
		b.z + 0.8*strength*rng.NormFloat64(), b.gain * math.Exp(0.15*strength*rng.NormFloat64())}
}

// Near makes the other ear of the same head.
func (e Ear) Near(rng *rand.Rand, strength float64) Ear {
	o := e
	o.reflectors = nil
	for _, r := range e.reflectors {
		o.reflectors = append(o.reflectors, e.jitter(rng, r, 0.4*strength))
	}
	o.conchaHz *= math.Exp(0.03 * strength * rng.NormFloat64())
	return o
}

type model struct {
	radius, depth float64 // driver radius and distance to the entrance, mm
	x, y          float64 // driver's centre
	rim, absorb   float64 // cup radius; reflection of the rim
	tilt          float64
}

var Models = []model{
	{16, 14, 8, 4, 32, 0.7, 0.15},
	{12, 11, -5, 8, 28, 0.8, 0.05},
	{17, 16, 9, -8, 36, 0.5, 0.25},
}

// Pressure at the blocked entrance for a headphone displaced by d.
func (m model) Pressure(hz float64, ear Ear, d [3]float64) complex128 {
	k := 2 * math.Pi * hz / 343200 // per mm
	path := func(a, b point) complex128 {
		r := math.Sqrt((a.x-b.x)*(a.x-b.x) + (a.y-b.y)*(a.y-b.y) + (a.z-b.z)*(a.z-b.z))
		return cmplx.Exp(complex(0, -k*r)) / complex(math.Max(r, 3), 0)
	}
	rot := d[2] * math.Pi / 180
	entrance := point{0, 0, 0, 1}
	var sum complex128
	source := func(x, y, z, gain float64) {
		xr := x*math.Cos(rot) + y*math.Sin(rot)
		yr := y*math.Cos(rot) - x*math.Sin(rot)
		s := point{xr + d[0], yr + d[1], z, 1}
		p := path(s, entrance)
		for _, r := range ear.reflectors {
			p += complex(9*r.gain, 0) * path(s, r) * path(r, entrance)
		}
		sum += complex(gain, 0) * p
	}
	for i := range 6 {
		phi := 2 * math.Pi * float64(i) / 6
		x, y := m.x+m.radius*math.Cos(phi), m.y+m.radius*math.Sin(phi)
		source(x, y, m.depth+m.tilt*x, 1)
		// Image in the rim.
		r := math.Hypot(x, y)
		f := (2*m.rim - r) / r
		source(x*f, y*f, m.depth, -m.absorb)
	}
	source(m.x, m.y, m.depth, 5)
	// Concha: a damped resonance.
	u := complex(0, hz/ear.conchaHz)
	g := math.Pow(10, ear.conchaDB/20) - 1
	return sum * (1 + complex(g, 0)*0.5*u/(1+0.5*u+u*u))
}

func bareEar(hz float64, ear Ear) complex128 {
	k := 2 * math.Pi * hz / 343200
	dir := [3]float64{0.35, 0.2, math.Sqrt(1 - 0.35*0.35 - 0.04)}
	p := complex(1, 0)
	for _, r := range ear.reflectors {
		path := math.Sqrt(r.x*r.x+r.y*r.y+r.z*r.z) - (r.x*dir[0] + r.y*dir[1] + r.z*dir[2])
		p += complex(1.2*r.gain, 0) * cmplx.Exp(complex(0, -k*path))
	}
	u := complex(0, hz/ear.conchaHz)
	g := math.Pow(10, ear.conchaDB/20) - 1
	return p * (1 + complex(g, 0)*0.5*u/(1+0.5*u+u*u))
}
