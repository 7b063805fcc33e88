package survey

import (
	"math"
	"slices"
)

// Kernel is the covariance of the level at two displacements, in units of the
// scatter's variance:
//
//	k(x, x') = c + l·x·x'/L² + q·(x·x'/L²)² + a·(1 + t + t²/3)·exp(−t),  t = √5·|x−x'|/ℓ,
//
// with x = (forward, up, r·rotation) in mm and L = 8 mm. Linear and quadratic
// terms alone are Bayesian regressions of first and second order; the last, of
// the Matérn class with smoothness 5/2, makes the surface free (Rasmussen &
// Williams, Gaussian Processes for Machine Learning, 2006, chapters 2 and 4).
type Kernel struct {
	Linear    float64 `json:"linear"` // l; like q and a without unit
	Quadratic float64 `json:"quadratic,omitempty"`
	Amplitude float64 `json:"amplitude,omitempty"`
	LengthMM  float64 `json:"length_mm,omitempty"`
	MMPerDeg  float64 `json:"mm_per_deg"` // r
}

const (
	kernelConstant = 1e5 // the level at the marked position is as good as free
	kernelUnitMM   = 8.0 // L
)

// At returns k(a, b), without unit, of two displacements (mm, mm, degrees). They are not
// copied, which took three quarters of the time: a copy is read before it has been written.
func (k *Kernel) At(a, b *[3]float64) float64 {
	dot, dist := k.products(a, b)
	v := kernelConstant + k.Linear*dot + k.Quadratic*dot*dot
	if k.Amplitude > 0 {
		v += k.free(dist)
	}
	return v
}

// free is the last term of two displacements whose |x−x'|² is dist, mm².
func (k *Kernel) free(dist float64) float64 {
	t := math.Sqrt(5*dist) / k.LengthMM
	return k.Amplitude * math.Exp(-t) * (1 + t + t*t/3)
}

// products are x·x'/L² of two displacements and |x−x'|² in mm². Written out per axis: it is
// what surveys are made of.
func (k *Kernel) products(a, b *[3]float64) (dot, dist float64) {
	r := k.MMPerDeg
	u, v, w := a[0]-b[0], a[1]-b[1], r*(a[2]-b[2])
	return (a[0]*b[0] + a[1]*b[1] + r*r*a[2]*b[2]) / (kernelUnitMM * kernelUnitMM), u*u + v*v + w*w
}

// grad returns k(a, b) and its gradient with respect to a.
func (k *Kernel) grad(a, b *[3]float64) (v, forward, up, turn float64) {
	const unit = kernelUnitMM * kernelUnitMM
	dot, dist := k.products(a, b)
	var free, pull float64 // the last term, and what its gradient has per mm of a − b
	if k.Amplitude > 0 {
		t := math.Sqrt(5*dist) / k.LengthMM
		decay := k.Amplitude * math.Exp(-t)
		free = decay * (1 + t + t*t/3)
		pull = decay * (1 + t) * 5 / (3 * k.LengthMM * k.LengthMM)
	}
	r, rise := k.MMPerDeg, k.Linear+2*k.Quadratic*dot
	forward = rise*b[0]/unit - pull*(a[0]-b[0])
	up = rise*b[1]/unit - pull*(a[1]-b[1])
	turn = rise*r*r*b[2]/unit - pull*r*r*(a[2]-b[2])
	return kernelConstant + k.Linear*dot + k.Quadratic*dot*dot + free, forward, up, turn
}

// responseModel is one of the response models among which the survey chooses.
type responseModel struct {
	method string // in words
	kernel Kernel
}

// responseModels lists the candidates, simplest first. Amplitudes are multiples
// of the scatter's variance, so the grid covers what a survey can show.
func responseModels(rotates bool) []responseModel {
	rots := []float64{0.5}
	if rotates {
		rots = []float64{0.06, 0.25, 0.7}
	}
	var first, second, free []responseModel
	for _, r := range rots {
		for _, l := range []float64{1, 10, 100, 1000, 10000} {
			first = append(first, responseModel{"first order", Kernel{Linear: l, MMPerDeg: r}})
			for _, q := range []float64{0.01, 0.1, 1} {
				second = append(second, responseModel{"second order", Kernel{Linear: l, Quadratic: q * l, MMPerDeg: r}})
			}
			for _, length := range []float64{8, 12, 20, 40} {
				for _, part := range []float64{0.03, 0.3, 3, 30} {
					free = append(free, responseModel{"Gaussian process", Kernel{Linear: l, Amplitude: part * l, LengthMM: length, MMPerDeg: r}})
				}
			}
		}
	}
	return slices.Concat(first, second, free)
}

// slopeVar is the prior variance of the slope along axis a at the marked position, per mm²
// or degree², over that of the scatter.
func (k Kernel) slopeVar(a int) float64 {
	s := [3]float64{1, 1, k.MMPerDeg}[a]
	v := k.Linear / (kernelUnitMM * kernelUnitMM)
	if k.Amplitude > 0 {
		v += 5 * k.Amplitude / (3 * k.LengthMM * k.LengthMM)
	}
	return s * s * v
}
