package fitcorr

import "math"

// Kernel is the covariance of the level at two displacements, in units of the
// scatter's variance:
//
//	k(x, x') = c + l·x·x'/L² + q·(x·x'/L²)² + a·exp(−|x−x'|²/(2ℓ²)),
//
// with x = (forward, up, r·rotation) in mm and L = 8 mm. Linear and quadratic
// terms alone are Bayesian regressions of first and second order; the last
// term makes the surface free (Rasmussen & Williams, Gaussian Processes for
// Machine Learning, 2006, chapters 2 and 4).
type Kernel struct {
	Linear    float64 `json:"linear"`
	Quadratic float64 `json:"quadratic,omitempty"`
	Amplitude float64 `json:"amplitude,omitempty"`
	LengthMM  float64 `json:"length_mm,omitempty"`
	MMPerDeg  float64 `json:"mm_per_deg"` // r
}

const (
	kernelConstant = 1e5 // the level at the marked position is as good as free
	kernelUnitMM   = 8.0 // L
)

// At returns k(a, b).
func (k Kernel) At(a, b [3]float64) float64 {
	v, _ := k.eval(a, b, false)
	return v
}

// Grad returns k(a, b) and its gradient with respect to a.
func (k Kernel) Grad(a, b [3]float64) (float64, [3]float64) { return k.eval(a, b, true) }

func (k Kernel) eval(a, b [3]float64, grad bool) (v float64, g [3]float64) {
	scale := [3]float64{1, 1, k.MMPerDeg}
	var dot, dist float64
	for i, s := range scale {
		dot += s * s * a[i] * b[i]
		d := s * (a[i] - b[i])
		dist += d * d
	}
	const unit = kernelUnitMM * kernelUnitMM
	dot /= unit
	var rbf float64
	if k.Amplitude > 0 {
		rbf = k.Amplitude * math.Exp(-dist/(2*k.LengthMM*k.LengthMM))
	}
	v = kernelConstant + k.Linear*dot + k.Quadratic*dot*dot + rbf
	if grad {
		for i, s := range scale {
			g[i] = (k.Linear+2*k.Quadratic*dot)*s*s*b[i]/unit - rbf*s*s*(a[i]-b[i])/max(k.LengthMM*k.LengthMM, 1e-9)
		}
	}
	return v, g
}

// kernelFamily is one of the response models among which the survey chooses.
type kernelFamily struct {
	method  string
	kernels []Kernel
}

// kernelFamilies lists the candidates, simplest first. Amplitudes are powers
// of the scatter's variance, so the grid covers what a survey can show.
func kernelFamilies(rotates bool) []kernelFamily {
	rots := []float64{0.5}
	if rotates {
		rots = []float64{0.06, 0.25, 0.7}
	}
	amps := []float64{1, 10, 100, 1000, 10000}
	first := kernelFamily{method: "first order"}
	second := kernelFamily{method: "second order"}
	free := kernelFamily{method: "Gaussian process"}
	for _, r := range rots {
		for _, l := range amps {
			first.kernels = append(first.kernels, Kernel{Linear: l, MMPerDeg: r})
			for _, q := range []float64{0.01, 0.1, 1} {
				second.kernels = append(second.kernels, Kernel{Linear: l, Quadratic: q * l, MMPerDeg: r})
			}
			for _, length := range []float64{5, 8, 12, 20} {
				for _, part := range []float64{0.03, 0.3, 3} {
					free.kernels = append(free.kernels, Kernel{Linear: l, Amplitude: part * l, LengthMM: length, MMPerDeg: r})
				}
			}
		}
	}
	return []kernelFamily{first, second, free}
}
