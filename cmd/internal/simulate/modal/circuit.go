package modal

import (
	"math"

	"asworn/cmd/internal/simulate"
)

// leakOf returns resistance and mass of hair channels under the cushion, as
// tubes side by side: 8ηl/(πr⁴) and 4ρl/(3πr²) each (Beranek and Mellow,
// Acoustics: Sound Fields and Transducers, ch. 4).
func (h headphone) leakOf(radius float64) (r, m float64) {
	r = 8 * simulate.AirViscosity * h.tunnel / (math.Pi * math.Pow(radius, 4)) / h.hairs
	m = 4 * simulate.AirDensity * h.tunnel / (3 * math.Pi * radius * radius) / h.hairs
	return r, m
}

// channel is the radius of a channel in metres for a slit height in millimetres.
func channel(slitMM float64) float64 { return 0.8e-3 * slitMM }

// drive returns volume velocity and uniform pressure per volt at f in Hz.
func (h headphone) drive(f, slitMM, gap float64) (u, p complex128) {
	w := 2 * math.Pi * math.Max(f, 1)
	cavity := w * h.capacity(gap)
	y := complex(cavity*0.15*math.Min(1, f/2000), cavity) // with thermal and cushion loss
	if slitMM > 0 {
		r, m := h.leakOf(channel(slitMM))
		y += 1 / complex(r, w*m)
	}
	if h.open {
		y += 1 / complex(h.ventR, w*h.ventM)
	}
	cd := h.compliance * h.capacity(0)
	w0 := 2 * math.Pi * h.driverHz
	md := 1 / (w0 * w0 * cd)
	zd := complex(w0*md/h.q, w*md-1/(w*cd))
	source := h.gain * (1 + 1/h.compliance)
	if h.open {
		source = h.gain * md / h.ventM
	}
	u = complex(source, 0) / (zd + 1/y)
	return u, u / y
}

func (h headphone) seal(p simulate.Placement) simulate.Seal {
	height, gap := h.slitAt(p), h.gapAt(p)
	if h.open || height == 0 {
		return simulate.Seal{}
	}
	_, m := h.leakOf(channel(height))
	s := simulate.Seal{CornerHz: 1 / (2 * math.Pi * math.Sqrt(m*(h.capacity(gap)+h.compliance*h.capacity(0))))}
	for i, f := range []float64{20, 50, 100} {
		_, sealed := h.drive(f, 0, gap)
		_, leaking := h.drive(f, height, gap)
		s.LossDB[i] = decibels(sealed) - decibels(leaking)
	}
	return s
}

func decibels(p complex128) float64 {
	return 10 * math.Log10(real(p)*real(p)+imag(p)*imag(p))
}

// gapAt is the cushion's gap in metres: a head is round, and a cushion pushed
// off its place rides up on it.
func (h headphone) gapAt(p simulate.Placement) float64 {
	d2 := (p.ForwardMM*p.ForwardMM + p.UpMM*p.UpMM) * 1e-6
	return p.GapMM*1e-3 + h.curvature*d2/2
}

// slitAt is the height of the slit in millimetres: a cushion pushed down far
// over the jaw opens a little.
func (h headphone) slitAt(p simulate.Placement) float64 {
	if h.open {
		return 0
	}
	over := math.Max(0, -p.UpMM-5) * 0.05 * h.lift
	return math.Hypot(p.SlitMM, over)
}
