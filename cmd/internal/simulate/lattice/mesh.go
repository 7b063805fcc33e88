package lattice

import "math"

// mesh is a lattice of bilinear quadrilaterals over the mouth of a cup, in the
// cup's own axes (metres). It does not move with the ear: what moves is the
// height of the cavity over it, so that nothing jumps as an ear is displaced.
type mesh struct {
	nx, ny int // nodes along x (forward) and y (up)
	a, b   float64
	node   [][2]float64
	inner  []sample // points of integration, four per element
	rim    []sample // along the edge, two per side of an element; dx, dy are unused
}

// sample is one point of integration: the nodes around it, their shape
// functions and gradients, its place and its weight (m², at the rim m).
type sample struct {
	node      [4]int
	n, dx, dy [4]float64
	x, y, w   float64
	nx, ny    float64 // the rim's outward normal
}

// newMesh covers |x| ≤ a, |y| ≤ b. Round 0 is a rectangle; at 1 the corners
// vanish and the outline is an ellipse.
func newMesh(a, b, round float64, nx, ny int) *mesh {
	m := &mesh{nx: nx, ny: ny, a: a, b: b}
	for j := range ny {
		for i := range nx {
			u, v := 2*float64(i)/float64(nx-1)-1, 2*float64(j)/float64(ny-1)-1
			m.node = append(m.node, [2]float64{a * u * math.Sqrt(1-round*v*v/2), b * v * math.Sqrt(1-round*u*u/2)})
		}
	}
	// At these points, rather than Gauss's ±1/√3, the error of the wave speed
	// on the lattice is of fourth order (Guddati and Yue, Comput. Methods
	// Appl. Mech. Eng. 193, 2004; derived anew: the symbols of stiffness and
	// mass along each axis are θ²(1−θ²/12) and 1−θ²/12).
	at := [2]float64{-math.Sqrt(2. / 3), math.Sqrt(2. / 3)}
	for j := range ny - 1 {
		for i := range nx - 1 {
			k := j*nx + i
			for _, v := range at {
				for _, u := range at {
					m.inner = append(m.inner, m.sample([4]int{k, k + 1, k + nx, k + nx + 1}, u, v))
				}
			}
		}
	}
	last := nx * (ny - 1)
	for i := range nx - 1 {
		m.side(i, i+1)
		m.side(last+i, last+i+1)
	}
	for j := range ny - 1 {
		m.side(j*nx, (j+1)*nx)
		m.side(j*nx+nx-1, (j+1)*nx+nx-1)
	}
	return m
}

// sample is the point (u, v) of the element with the given corners.
func (m *mesh) sample(corner [4]int, u, v float64) sample {
	s := sample{node: corner}
	s.n = [4]float64{(1 - u) * (1 - v) / 4, (1 + u) * (1 - v) / 4, (1 - u) * (1 + v) / 4, (1 + u) * (1 + v) / 4}
	du := [4]float64{-(1 - v) / 4, (1 - v) / 4, -(1 + v) / 4, (1 + v) / 4}
	dv := [4]float64{-(1 - u) / 4, -(1 + u) / 4, (1 - u) / 4, (1 + u) / 4}
	var xu, xv, yu, yv float64
	for i, k := range corner {
		p := m.node[k]
		s.x += s.n[i] * p[0]
		s.y += s.n[i] * p[1]
		xu += du[i] * p[0]
		xv += dv[i] * p[0]
		yu += du[i] * p[1]
		yv += dv[i] * p[1]
	}
	s.w = xu*yv - xv*yu
	for i := range corner {
		s.dx[i] = (du[i]*yv - dv[i]*yu) / s.w
		s.dy[i] = (dv[i]*xu - du[i]*xv) / s.w
	}
	return s
}

// side adds the points of integration of one side of the outline.
func (m *mesh) side(p, q int) {
	ex, ey := m.node[q][0]-m.node[p][0], m.node[q][1]-m.node[p][1]
	length := math.Hypot(ex, ey)
	for _, u := range [2]float64{-math.Sqrt(2. / 3), math.Sqrt(2. / 3)} {
		s := sample{node: [4]int{p, q, p, q}, n: [4]float64{(1 - u) / 2, (1 + u) / 2}, w: length / 2}
		s.x, s.y = m.node[p][0]+ex*(1+u)/2, m.node[p][1]+ey*(1+u)/2
		s.nx, s.ny = ey/length, -ex/length
		if s.nx*s.x+s.ny*s.y < 0 {
			s.nx, s.ny = -s.nx, -s.ny
		}
		m.rim = append(m.rim, s)
	}
}

// mean interpolates values at the nodes.
func (s *sample) mean(v []float64) float64 {
	return s.n[0]*v[s.node[0]] + s.n[1]*v[s.node[1]] + s.n[2]*v[s.node[2]] + s.n[3]*v[s.node[3]]
}
