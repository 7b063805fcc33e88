package modal

import (
	"math"
	"math/rand/v2"

	"asworn/cmd/internal/simulate"
)

// pinna is an ear as a rim that diffracts and a concha that resonates: a
// volume behind a mouth, and transverse resonances across it. Lengths in metres.
type pinna struct {
	rim            []rimPoint
	mouthX, mouthY float64
	mouthR         float64
	helmholtz, q   float64    // Hz, of the concha's volume
	across         [2]float64 // Hz, of the transverse resonances
	acrossQ        float64
	tilt           float64 // direction of the first of them, radians
	bend           float64 // strength of diffraction at the rim
	flare          float64 // free-field gain of the head's side
	meatus, drum   float64 // canal length; loss at the drum against the average
	micX, micY     float64
}

type rimPoint struct{ x, y, path, weight float64 }

const (
	rimPoints = 9  // on the helix
	genes     = 24 // numbers that make an ear
)

// drawPeople gives a left and a right ear that share most of their genes.
func drawPeople(r *rand.Rand) [2][]float64 {
	var out [2][]float64
	for range genes {
		v := r.NormFloat64()
		out[0] = append(out[0], 0.92*v+0.39*r.NormFloat64())
		out[1] = append(out[1], 0.92*v+0.39*r.NormFloat64())
	}
	return out
}

// grow makes an ear. The rim is an ellipse with Fourier coefficients of its
// own: it is the outline that differs between people, not single points.
func grow(g []float64, strength float64) pinna {
	next := 0
	n := func(sd float64) float64 {
		v := strength * sd * g[next]
		next++
		return v
	}
	p := pinna{
		mouthX: -0.004 + n(0.0008), mouthY: 0.001 + n(0.0008), mouthR: 0.008 * math.Exp(n(0.08)),
		helmholtz: 4400 * math.Exp(n(0.08)), q: 2.4 * math.Exp(n(0.12)),
		across:  [2]float64{7000 * math.Exp(n(0.07)), 10500 * math.Exp(n(0.07))},
		acrossQ: 4 * math.Exp(n(0.12)), tilt: 1.2 + n(0.2),
		bend: 0.85 * math.Exp(n(0.2)), flare: 1.7 * math.Exp(n(0.06)),
		meatus: 0.0235 * math.Exp(n(0.07)), drum: math.Exp(n(0.2)),
		micX: n(0.0006), micY: n(0.0006),
	}
	scale := math.Exp(n(0.07))
	var cos, sin [4]float64
	for k := 1; k < 4; k++ {
		cos[k], sin[k] = n(0.09/float64(k)), n(0.09/float64(k))
	}
	height := 0.009 + n(0.0015)
	total := 0.0
	for i := range rimPoints {
		// From in front of the crown, behind, to the lobe; the front is open.
		phi := math.Pi * (0.35 + 1.35*float64(i)/(rimPoints-1))
		rho := scale
		for k := 1; k < 4; k++ {
			s, c := math.Sincos(float64(k) * phi)
			rho += scale * (cos[k]*c + sin[k]*s)
		}
		s, c := math.Sincos(phi)
		r := rimPoint{x: -0.006 + rho*0.016*c, y: 0.004 + rho*0.025*s}
		r.path = math.Hypot(math.Hypot(r.x, r.y), height)
		r.weight = 1 / r.path
		total += r.weight
		p.rim = append(p.rim, r)
	}
	for i := range p.rim {
		p.rim[i].weight /= total
	}
	return p
}

// places lists where the field is needed: entrance, four at the concha's
// mouth along and across its tilt, then the rim.
func (p pinna) places(mic [2]float64) [][2]float64 {
	s, c := math.Sincos(p.tilt)
	x, y, r := p.mouthX, p.mouthY, p.mouthR
	out := [][2]float64{
		{p.micX + mic[0]/1000, p.micY + mic[1]/1000},
		{x + r*c, y + r*s}, {x - r*c, y - r*s}, {x - r*s, y + r*c}, {x + r*s, y - r*c},
	}
	for _, e := range p.rim {
		out = append(out, [2]float64{e.x, e.y})
	}
	return out
}

// listen turns the field at the places, at f in Hz, into the pressure at the
// blocked entrance.
func (p pinna) listen(field []complex128, f float64) complex128 {
	if f == 0 {
		return field[0]
	}
	// Concha as a Helmholtz resonator: what enters through the mouth comes out
	// amplified at the bottom, until waves fit into it.
	mean := (field[1] + field[2] + field[3] + field[4]) / 4
	x := f / p.helmholtz
	inner := mean / complex(1-x*x, x/p.q)
	low := complex(1/(1+x*x*x*x/16), 0)
	out := 0.3*field[0] + 0.7*(inner*low+mean*(1-low))
	for i, fa := range p.across {
		out += 1.3 * (field[1+2*i] - field[2+2*i]) / complex(1, p.acrossQ*(f/fa-fa/f))
	}
	// The rim sends a wave of opposite sign once it is not small against the wavelength.
	y := f / 5500
	edge := p.bend * y * y / (1 + y*y)
	k := 2 * math.Pi * f / simulate.SoundSpeed
	for i, r := range p.rim {
		s, c := math.Sincos(-k * r.path)
		out -= complex(edge*r.weight*c, edge*r.weight*s) * field[5+i]
	}
	return out
}
