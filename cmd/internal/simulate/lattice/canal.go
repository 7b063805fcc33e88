package lattice

import (
	"math"
	"math/cmplx"

	"asworn/cmd/internal/simulate"
)

// canal is an ear canal that narrows toward the drum.
type canal struct {
	length, radius float64 // m, radius at the entrance
	drum           float64 // factor on the drum's compliance
}

// transfer is the drum's pressure over the blocked entrance's: a horn of short
// tubes, each with the loss of its wall, marched from the drum outward; then
// the flow into it through the radiation mass of the open entrance.
func (c canal) transfer(f float64) complex128 {
	const sections = 16
	const rho, sound = simulate.AirDensity, simulate.SoundSpeed
	w := 2 * math.Pi * math.Max(f, 1)
	// A drum of compliance, mass and resistance in series (orders of magnitude
	// of an occluded-ear simulator, quoted from memory).
	compliance := 4.5e-12 * c.drum
	drum := complex(4e7, w*400-1/(w*compliance))
	p, u := complex(1, 0), 1/drum
	l := c.length / sections
	for i := range sections {
		x := 1 - (float64(i)+0.5)/sections // 1 at the drum
		r := c.radius * (1 - 0.25*x*x)
		z := complex(rho*sound/(math.Pi*r*r), 0)
		// Kirchhoff's attenuation of a wide tube, about 3e-5 √f / r per metre.
		gl := complex(3e-5*math.Sqrt(f)/r*l, w/sound*l)
		cosh, sinh := cmplx.Cosh(gl), cmplx.Sinh(gl)
		p, u = p*cosh+u*z*sinh, p/z*sinh+u*cosh
	}
	mouth := complex(0, w*rho*0.85/(math.Pi*c.radius))
	return 1 / (p + u*mouth)
}
