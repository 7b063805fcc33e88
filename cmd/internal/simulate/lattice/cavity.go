package lattice

import (
	"math"

	"asworn/cmd/internal/simulate"
)

// cavity is the air between an ear below (s = 0) and a flat lid above (s = 1),
// of a height that varies over the mesh. Across the height the pressure is
//
//	p(x, y, s) = p₀(x, y) + p₁(x, y) cos πs,
//
// a uniform part and the first resonance of the height; both are unknowns at
// every node, at places 2k and 2k+1. Galerkin's method turns
// ∇²p + k²p = 0 with locally reacting surfaces into
//
//	[K − k²M + jk·g(f)·B + y(f)·V] x = s,  p = jωρU·x,
//
// all symmetric and banded: K stiffness, M mass, B absorbing surfaces, V a vent.
type cavity struct {
	mesh       *mesh
	band       int // entries per row: the diagonal, those after it, and a zero
	k, m, b, v []float64
	u          []complex128 // workspace of one frequency
}

// surfaces says what bounds the air. Functions are of a place in the mesh's axes.
type surfaces struct {
	height []float64 // at the nodes, m
	below  []float64 // specific admittance of the ear's surface at the nodes
	lid    func(x, y float64) float64
	rim    func(x, y float64) float64
	// vent multiplies the vent's own admittance: ventLid over the lid, ventRim
	// along the foot of the edge.
	ventLid, ventRim func(x, y float64) float64
}

func newCavity(m *mesh, s surfaces) *cavity {
	n := 2 * len(m.node)
	c := &cavity{mesh: m, band: 2*m.nx + 5}
	store := make([]float64, 4*n*c.band)
	c.k, c.m, c.b, c.v = store[:n*c.band], store[n*c.band:2*n*c.band], store[2*n*c.band:3*n*c.band], store[3*n*c.band:]
	c.u = make([]complex128, n*c.band)
	for i := range m.inner {
		c.addAir(&m.inner[i], s)
	}
	for i := range m.rim {
		c.addRim(&m.rim[i], s)
	}
	return c
}

// at is the place of an entry of the upper band.
func (c *cavity) at(row, col int) int { return row*c.band + col - row }

// addAir adds one point of integration of the air, the ear and the lid. The
// height's gradient h′ couples both parts: with a flat lid ∇s = (1−s)∇h/h, and
// the integrals over s of sin πs·(1−s), sin πs·cos πs·(1−s) and sin²πs·(1−s)²
// are 1/π, 1/(4π) and 1/6 − 1/(4π²).
func (c *cavity) addAir(p *sample, s surfaces) {
	const slope = 1./6 - 1/(4*math.Pi*math.Pi)
	h := p.mean(s.height)
	var hx, hy float64
	for i, n := range p.node {
		hx += p.dx[i] * s.height[n]
		hy += p.dy[i] * s.height[n]
	}
	below, lid, vent := p.mean(s.below), 0.0, 0.0
	if s.lid != nil {
		lid = s.lid(p.x, p.y)
	}
	if s.ventLid != nil {
		vent = s.ventLid(p.x, p.y)
	}
	across := math.Pi * math.Pi * (slope*(hx*hx+hy*hy) + 0.5) / h
	var along [4]float64 // ∇N·∇h
	for i := range along {
		along[i] = p.dx[i]*hx + p.dy[i]*hy
	}
	for i, ni := range p.node {
		for j, nj := range p.node {
			grad := h * (p.dx[i]*p.dx[j] + p.dy[i]*p.dy[j])
			both := p.w * p.n[i] * p.n[j]
			if nj >= ni {
				k := c.at(2*ni, 2*nj)
				c.k[k] += p.w * grad
				c.m[k] += h * both
				c.b[k] += (below + lid) * both
				c.v[k] += vent * both
				k = c.at(2*ni+1, 2*nj+1)
				c.k[k] += p.w * (grad/2 - (p.n[i]*along[j]+p.n[j]*along[i])/4)
				c.k[k] += across * both
				c.m[k] += h / 2 * both
				c.b[k] += (below + lid) * both
				c.v[k] += vent * both
			}
			if 2*nj+1 > 2*ni { // p₀ of one node with p₁ of the other
				k := c.at(2*ni, 2*nj+1)
				c.k[k] -= p.w * p.n[j] * along[i]
				c.b[k] += (below - lid) * both
				c.v[k] -= vent * both
			}
			if 2*nj > 2*ni+1 {
				k := c.at(2*ni+1, 2*nj)
				c.k[k] -= p.w * p.n[i] * along[j]
				c.b[k] += (below - lid) * both
				c.v[k] -= vent * both
			}
		}
	}
}

// addRim adds one point of integration of the edge.
func (c *cavity) addRim(p *sample, s surfaces) {
	if s.rim == nil && s.ventRim == nil {
		return
	}
	h := p.n[0]*s.height[p.node[0]] + p.n[1]*s.height[p.node[1]]
	wall, vent := 0.0, 0.0
	if s.rim != nil {
		wall = h * s.rim(p.x, p.y)
	}
	if s.ventRim != nil {
		vent = s.ventRim(p.x, p.y)
	}
	for i, ni := range p.node[:2] {
		for j, nj := range p.node[:2] {
			both := p.w * p.n[i] * p.n[j]
			for si := range 2 {
				for sj := range 2 {
					row, col := 2*ni+si, 2*nj+sj
					if col < row {
						continue
					}
					k := c.at(row, col)
					c.v[k] += vent * both
					if si == sj {
						c.b[k] += wall * both / float64(1+si)
					}
				}
			}
		}
	}
}

// uniform is the sum of all entries between p₀ and p₀: what a uniform pressure meets.
func (c *cavity) uniform(a []float64) float64 {
	sum := 0.0
	for row := 0; row < len(a)/c.band; row += 2 {
		for d := 0; d < c.band; d += 2 {
			v := a[row*c.band+d]
			if d > 0 {
				v *= 2
			}
			sum += v
		}
	}
	return sum
}

// solve overwrites x, the source, by the solution at wave number k with the
// given factors of B and V. Gaussian elimination of a symmetric band, without
// pivots: the surfaces absorb, and the tests look at the residual.
func (c *cavity) solve(k float64, absorb, vent complex128, x []complex128) {
	k2, w := k*k, c.band
	for i := range c.u {
		c.u[i] = complex(c.k[i]-k2*c.m[i]+real(absorb)*c.b[i]+real(vent)*c.v[i], imag(absorb)*c.b[i]+imag(vent)*c.v[i])
	}
	n := len(x)
	for r := 0; r < n; r += 2 {
		// Two rows at a time, p₀ and p₁ of a node; the second one first loses
		// its part of the first.
		one, two := c.u[r*w:(r+1)*w], c.u[(r+1)*w:(r+2)*w]
		inverse1 := 1 / one[0]
		l := one[1] * inverse1
		for j, a := range one[1:] {
			two[j] -= l * a
		}
		x[r+1] -= l * x[r]
		inverse2 := 1 / two[0]
		for i := 2; i < min(w, n-r); i++ {
			l1, l2 := one[i]*inverse1, two[i-1]*inverse2
			to := c.u[(r+i)*w:][:w-i]
			from1, from2 := one[i:][:len(to)], two[i-1:][:len(to)]
			for j := range to {
				to[j] -= l1*from1[j] + l2*from2[j]
			}
			x[r+i] -= l1*x[r] + l2*x[r+1]
		}
		x[r] *= inverse1
		x[r+1] *= inverse2
	}
	for r := n - 1; r >= 0; r-- {
		row := c.u[r*w : (r+1)*w]
		sum := complex128(0)
		for i := 1; i < min(w, n-r); i++ {
			sum += row[i] * x[r+i]
		}
		x[r] -= sum / row[0]
	}
}

// spread is a source or a receiver on the lid or the ear, with unit weight.
func (c *cavity) spread(onLid bool, weight func(x, y float64) float64) []float64 {
	out := make([]float64, 2*len(c.mesh.node))
	sign, total := 1.0, 0.0
	if onLid {
		sign = -1
	}
	for i := range c.mesh.inner {
		p := &c.mesh.inner[i]
		v := p.w * weight(p.x, p.y)
		total += v
		for j, n := range p.node {
			out[2*n] += v * p.n[j]
			out[2*n+1] += sign * v * p.n[j]
		}
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

// volume of the air, m³.
func (c *cavity) volume() float64 { return c.uniform(c.m) }

// compliance of the air, m³/Pa, adiabatic.
func (c *cavity) compliance() float64 {
	return c.volume() / (simulate.AirDensity * simulate.SoundSpeed * simulate.SoundSpeed)
}
