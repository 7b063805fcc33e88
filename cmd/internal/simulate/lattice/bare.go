package lattice

import (
	"math"
	"math/cmplx"
)

// bareEar is the air over an ear up to a plane through which sound comes and goes.
type bareEar struct {
	air   *cavity
	entry []float64
}

const (
	bareHeight = 0.022 // of that plane over the side of the head, m
	// middle of the mesh against the entrance, m
	bareForward, bareUp = -0.010, 0.006
)

func bare(m *mesh, e *ear, micMM [2]float64) *bareEar {
	s := surfaces{height: make([]float64, len(m.node)), below: make([]float64, len(m.node))}
	for i, n := range m.node {
		x, y := n[0]+bareForward, n[1]+bareUp
		// A pinna is lower than the plane; pressed keeps a freak one below it.
		s.height[i] = pressed(bareHeight - e.relief(x, y))
		s.below[i] = e.absorption(x, y)
	}
	s.rim = func(_, _ float64) float64 { return 1 }
	s.ventLid = func(_, _ float64) float64 { return 1 }
	air := newCavity(m, s)
	return &bareEar{air, air.spread(false, plug(micMM[0]/1000-bareForward, micMM[1]/1000-bareUp))}
}

// field is the pressure at the entrance for a plane wave of 1 Pa from an
// azimuth off the nose and an elevation. At the plane above, the plane wave
// enters and all else leaves at the same angle, ∂p/∂n = −jk cos θ (p − 2p_in);
// at the sides the field over a flat head goes on, and what the ear adds to it
// leaves, ∂p/∂n = ∂p_f/∂n − jk(p − p_f).
func (b *bareEar) field(f, azimuth, elevation float64) complex128 {
	k := 2 * math.Pi * f / sound
	sin, cos := math.Sincos(azimuth * math.Pi / 180)
	up, level := math.Sincos(elevation * math.Pi / 180)
	dx, dy, dz := cos*level, up, sin*level
	phase := func(p *sample) complex128 {
		return cmplx.Exp(complex(0, k*(dx*p.x+dy*p.y)))
	}
	x := make([]complex128, len(b.entry))
	above := 2 * complex(0, k*dz) * cmplx.Exp(complex(0, k*dz*bareHeight))
	for i := range b.air.mesh.inner {
		p := &b.air.mesh.inner[i]
		v := above * phase(p) * complex(p.w, 0)
		for j, n := range p.node {
			x[2*n] += v * complex(p.n[j], 0)
			x[2*n+1] -= v * complex(p.n[j], 0)
		}
	}
	kz := k * dz * bareHeight
	part := [2]float64{sinc(kz), (sinc(kz-math.Pi) + sinc(kz+math.Pi)) / 2} // of cos k_z z with 1 and cos πs
	for i := range b.air.mesh.rim {
		p := &b.air.mesh.rim[i]
		v := 2 * complex(0, k*(1+dx*p.nx+dy*p.ny)*bareHeight*p.w) * phase(p)
		for j, n := range p.node[:2] {
			x[2*n] += v * complex(p.n[j]*part[0], 0)
			x[2*n+1] += v * complex(p.n[j]*part[1], 0)
		}
	}
	b.air.solve(k, complex(0, k), complex(0, k*dz), x)
	sum := complex128(0)
	for i, v := range x {
		sum += v * complex(b.entry[i], 0)
	}
	return sum
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-9 {
		return 1
	}
	return math.Sin(x) / x
}
