package piston

import (
	"asworn/cmd/internal/simulate"
	"math"
)

// point is a place in metres: x toward the nose, y toward the crown, z away
// from the head. The origin is the blocked canal entrance.
type point struct{ x, y, z float64 }

func (a point) to(b point) float64 {
	return math.Sqrt((a.x-b.x)*(a.x-b.x) + (a.y-b.y)*(a.y-b.y) + (a.z-b.z)*(a.z-b.z))
}

// disc returns quadrature points of a disc of unit radius: rings of equal
// area, each with its points at the radius that halves the ring's area. All
// points weigh the same.
func disc(rings, perRing int) [][2]float64 {
	var out [][2]float64
	for i := range rings {
		r := math.Sqrt((float64(i) + 0.5) / float64(rings))
		for j := range perRing {
			phi := 2 * math.Pi * (float64(j) + 0.5*float64(i%2)) / float64(perRing)
			out = append(out, [2]float64{r * math.Cos(phi), r * math.Sin(phi)})
		}
	}
	return out
}

// addWave adds amp·exp(−jkd) to acc for k = 2π·n·step/c, n = 0 … len(acc)−1.
func addWave(acc []complex128, step, d, amp float64) {
	sin, cos := math.Sincos(-2 * math.Pi * step * d / simulate.SoundSpeed)
	re, im := amp, 0.0
	for i := range acc {
		acc[i] += complex(re, im)
		re, im = re*cos-im*sin, re*sin+im*cos
	}
}

// rayleigh adds Σ w·exp(−jkR)/R over the source points as heard at a receiver:
// the Rayleigh integral without its factor jωρ/2π (Rayleigh, The Theory of
// Sound, vol. 2, §278; Kinsler et al., Fundamentals of Acoustics, ch. 7), with
// w the area of each point. Unit: metres.
func rayleigh(acc []complex128, step float64, from []point, w float64, at point) {
	for _, s := range from {
		d := s.to(at)
		addWave(acc, step, d, w/d)
	}
}

// resonance is the band-pass of a resonator: 1 at f0, falling on both sides.
func resonance(f, f0, q float64) complex128 {
	if f == 0 {
		return 0
	}
	return 1 / complex(1, q*(f/f0-f0/f))
}

// slit returns resistance (Pa·s/m³) and mass (kg/m⁴) of a narrow slit of
// height h, width w and length l in metres: 12ηl/(h³w) and 6ρl/(5hw)
// (Beranek and Mellow, Acoustics: Sound Fields and Transducers, ch. 4).
func slit(h, w, l float64) (r, m float64) {
	return 12 * simulate.AirViscosity * l / (h * h * h * w), 6 * simulate.AirDensity * l / (5 * h * w)
}
