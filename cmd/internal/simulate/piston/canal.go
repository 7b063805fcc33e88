package piston

import (
	"asworn/cmd/internal/simulate"
	"math"
	"math/cmplx"
)

// canal is the ear canal behind the blocked entrance: a rigid tube with some
// loss, closed by a drum.
type canal struct {
	length, radius float64 // metres
	load           float64 // compliance of the drum against the average
}

// transfer is drum pressure over blocked-entrance pressure at f in Hz. The
// blocked pressure drives the canal through the radiation impedance of the
// open entrance (Møller, Acustica 36, 1992), here that of a piston in a
// baffle, so that the ratio does not depend on the headphone.
func (c canal) transfer(f float64) complex128 {
	w := 2 * math.Pi * math.Max(f, 1)
	area := math.Pi * c.radius * c.radius
	z0 := simulate.AirDensity * simulate.SoundSpeed / area
	k := w / simulate.SoundSpeed
	radiation := complex(z0*k*k*c.radius*c.radius/2, z0*k*8*c.radius/(3*math.Pi))
	// Drum: about 0.8 cm³ of air at low frequencies, mostly resistive above 1 kHz.
	cd := c.load * 0.8e-6 / (simulate.AirDensity * simulate.SoundSpeed * simulate.SoundSpeed)
	drum := complex(3.5e7, w*4e2-1/(w*cd))
	g := complex(0, k*c.length) + complex(0.02*math.Sqrt(f/1000), 0)
	sh, ch := cmplx.Sinh(g), cmplx.Cosh(g)
	zz := complex(z0, 0)
	// Chain matrix of the tube with the drum behind it.
	return 1 / (ch + zz*sh/drum + radiation*(sh/zz+ch/drum))
}
