package lattice

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// lidded is hard-walled air under a lid whose height is given at each place.
func lidded(m *mesh, height func(x, y float64) float64) *cavity {
	s := surfaces{height: make([]float64, len(m.node)), below: make([]float64, len(m.node))}
	for i, n := range m.node {
		s.height[i] = height(n[0], n[1])
	}
	return newCavity(m, s)
}

// times is a banded symmetric matrix times a vector.
func (c *cavity) times(a, v []float64) []float64 {
	out := make([]float64, len(v))
	for r := range v {
		out[r] += a[r*c.band] * v[r]
		for d := 1; d < min(c.band, len(v)-r); d++ {
			out[r] += a[r*c.band+d] * v[r+d]
			out[r+d] += a[r*c.band+d] * v[r]
		}
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// rayleigh is vᵀKv/vᵀMv, and how far v is from a mode: |Kv−λMv|/|Kv|.
func (c *cavity) rayleigh(v []float64) (k2, residual float64) {
	kv, mv := c.times(c.k, v), c.times(c.m, v)
	k2 = dot(v, kv) / dot(v, mv)
	var off, all float64
	for i := range v {
		off += (kv[i] - k2*mv[i]) * (kv[i] - k2*mv[i])
		all += kv[i] * kv[i]
	}
	return k2, math.Sqrt(off / all)
}

// A hard-walled box: (k/π)² = (l/2a)² + (m/2b)² + (n/h)². Cosines sampled at
// the nodes are modes of the lattice, so what is left is the error of its wave speed.
func TestBox(t *testing.T) {
	const a, b, h = 0.031, 0.037, 0.018
	c := lidded(newMesh(a, b, 0, 12, 15), func(_, _ float64) float64 { return h })
	if v := c.volume() / (4 * a * b * h); math.Abs(v-1) > 1e-12 {
		t.Errorf("volume %.6f of the box's", v)
	}
	for _, m := range [][3]int{{1, 0, 0}, {0, 1, 0}, {2, 1, 0}, {3, 3, 0}, {5, 0, 0}, {4, 5, 0}, {0, 0, 1}, {1, 2, 1}, {3, 2, 1}} {
		v := make([]float64, 2*len(c.mesh.node))
		for i, n := range c.mesh.node {
			v[2*i+m[2]] = math.Cos(float64(m[0])*math.Pi*(n[0]+a)/(2*a)) * math.Cos(float64(m[1])*math.Pi*(n[1]+b)/(2*b))
		}
		k2, residual := c.rayleigh(v)
		want := math.Pi * math.Sqrt(math.Pow(float64(m[0])/(2*a), 2)+math.Pow(float64(m[1])/(2*b), 2)+math.Pow(float64(m[2])/h, 2))
		f := sound * want / (2 * math.Pi)
		if off := math.Abs(math.Sqrt(k2)/want - 1); off > 0.012 || residual > 1e-9 {
			t.Errorf("mode %v, %.0f Hz: off by %.4f, residual %.1e", m, f, off, residual)
		}
	}
}

// Air of exponentially growing height, thin enough for Webster's horn:
// k² = (nπ/L)² + (m/2)² for h ∝ exp(mx) between hard ends.
func TestHorn(t *testing.T) {
	const a, flare = 0.05, 20.0
	mesh := newMesh(a, 0.004, 0, 81, 2)
	c := lidded(mesh, func(x, _ float64) float64 { return 0.0005 * math.Exp(flare*x) })
	for n := 1; n <= 3; n++ {
		beta := float64(n) * math.Pi / (2 * a)
		v := make([]float64, 2*len(mesh.node))
		for i, p := range mesh.node {
			x := p[0] + a // p′ = 0 at both ends
			v[2*i] = math.Exp(-flare*x/2) * (math.Cos(beta*x) + flare/(2*beta)*math.Sin(beta*x))
		}
		k2, _ := c.rayleigh(v)
		want := beta*beta + flare*flare/4
		if math.Abs(k2/want-1) > 2e-3 {
			t.Errorf("mode %d: k² = %.1f, want %.1f", n, k2, want)
		}
	}
}

// The stiffness is the integral of |∇p|² over the air under a sloping lid,
// here by brute force from differences of the pressure itself.
func TestStiffnessOfUnevenAir(t *testing.T) {
	const a, b = 0.03, 0.02
	height := func(x, y float64) float64 { return 0.015 + 0.3*x - 0.2*y + 0.004*math.Sin(90*x) }
	p0 := func(x, y float64) float64 { return 1 + 20*x - 300*x*y }
	p1 := func(x, y float64) float64 { return 0.7 - 25*y + 400*x*x }
	c := lidded(newMesh(a, b, 0, 41, 31), height)
	v := make([]float64, 2*len(c.mesh.node))
	for i, n := range c.mesh.node {
		v[2*i], v[2*i+1] = p0(n[0], n[1]), p1(n[0], n[1])
	}
	const lid = 0.03 // the lid is flat and the ear uneven
	p := func(x, y, z float64) float64 {
		h := height(x, y)
		return p0(x, y) + p1(x, y)*math.Cos(math.Pi*(z-lid+h)/h)
	}
	const n, d = 60, 1e-6
	sum := 0.0
	for i := range n {
		x := a * (2*(float64(i)+0.5)/n - 1)
		for j := range n {
			y := b * (2*(float64(j)+0.5)/n - 1)
			h := height(x, y)
			for k := range n {
				z := lid - h + h*(float64(k)+0.5)/n
				gx := (p(x+d, y, z) - p(x-d, y, z)) / (2 * d)
				gy := (p(x, y+d, z) - p(x, y-d, z)) / (2 * d)
				gz := (p(x, y, z+d) - p(x, y, z-d)) / (2 * d)
				sum += (gx*gx + gy*gy + gz*gz) * h / n
			}
		}
	}
	want := sum * 4 * a * b / (n * n)
	if got := dot(v, c.times(c.k, v)); math.Abs(got/want-1) > 2e-3 {
		t.Errorf("energy %.5g, by brute force %.5g", got, want)
	}
}

// The elimination has no pivots: what is left of the equations must be nothing.
func TestResidual(t *testing.T) {
	w := World(5, simulate.BarDesign(), []bool{false, true}).(*world)
	for m := range w.cups {
		on := w.cups[m][0].on(&w.ears[m][0], simulate.Placement{SlitMM: 0.3})
		c := on.air
		for _, f := range []float64{20, 300, 3000, 9000, 16000, 20000} {
			k := 2 * math.Pi * f / sound
			absorb, vent := complex(0, k*porous(f)), on.cup.vent(f, 0.3)
			x := make([]complex128, len(on.driver))
			for i, v := range on.driver {
				x[i] = complex(v, 0)
			}
			c.solve(k, absorb, vent, x)
			re, im := make([]float64, len(x)), make([]float64, len(x))
			for i, v := range x {
				re[i], im[i] = real(v), imag(v)
			}
			var off, all float64
			left := make([]complex128, len(x))
			add := func(matrix []float64, factor complex128) {
				a, b := c.times(matrix, re), c.times(matrix, im)
				for i := range left {
					left[i] += factor * complex(a[i], b[i])
				}
			}
			add(c.k, 1)
			add(c.m, complex(-k*k, 0))
			add(c.b, absorb)
			add(c.v, vent)
			for i, v := range on.driver {
				off += math.Pow(cmplx.Abs(left[i]-complex(v, 0)), 2)
				all += v * v
			}
			if r := math.Sqrt(off / all); !(r < 1e-8) {
				t.Errorf("model %d, %.0f Hz: residual %.1e", m, f, r)
			}
		}
	}
}

// Over a flat head that absorbs nothing a plane wave doubles.
func TestFlatHead(t *testing.T) {
	b := bare(newMesh(0.036, 0.042, 0.7, 12, 15), &ear{}, [2]float64{})
	for _, f := range []float64{20, 200, 1000, 2000, 4000, 6000} {
		if l := 20 * math.Log10(cmplx.Abs(b.field(f, 50, 5))/2); math.Abs(l) > 0.5 {
			t.Errorf("%.0f Hz: %.2f dB from twice the wave", f, l)
		}
	}
}

// 12ηl/(t³w) and 6ρl/(5tw) at low frequencies (Beranek and Mellow, Acoustics:
// Sound Fields and Transducers, ch. 4), ρl/(tw) at high ones.
func TestSlitLimits(t *testing.T) {
	const height, length, width = 0.2e-3, 0.014, 0.05
	z := func(f float64) complex128 {
		return complex(0, 2*math.Pi*f*rho) / (slit(f, height, length) * width)
	}
	near := func(what string, got, want, tol float64) {
		if math.Abs(got/want-1) > tol {
			t.Errorf("%s %.4g, want %.4g", what, got, want)
		}
	}
	near("resistance", real(z(5)), 12*simulate.AirViscosity*length/(height*height*height*width), 1e-3)
	near("mass", imag(z(5))/(2*math.Pi*5), 6*rho*length/(5*height*width), 1e-3)
	near("mass, fast", imag(z(1e6))/(2*math.Pi*1e6), rho*length/(height*width), 0.02)
}

// At low frequencies the lattice is a compliance with a leak.
func TestLump(t *testing.T) {
	w := World(2, simulate.BarDesign(), []bool{false}).(*world)
	for _, slitMM := range []float64{0, 0.15, 0.4} {
		on := w.cups[0][0].on(&w.ears[0][0], simulate.Placement{SlitMM: slitMM})
		x := make([]complex128, len(on.driver))
		_, entry := on.impedances(30, slitMM, x)
		if off := cmplx.Abs(entry/on.lump().impedance(30, slitMM) - 1); off > 0.02 {
			t.Errorf("slit %.2f mm at 30 Hz: %.4f off the lump", slitMM, off)
		}
		if slitMM == 0 {
			_, entry = on.impedances(50, 0, x)
			want := 1 / (2 * math.Pi * 50 * on.air.compliance())
			if off := cmplx.Abs(entry)/want - 1; math.Abs(off) > 0.01 {
				t.Errorf("sealed: %.4f off 1/ωC", off)
			}
		}
	}
}

// The truth about a leak against the response itself, and against the handbook's
// circuit p_leak/p_sealed = jωC(R + jωM)/(1 − ω²MC + jωRC) with its corner.
func TestSeal(t *testing.T) {
	w := World(1, simulate.BarDesign(), []bool{false, true})
	g := &simulate.Grid{Hz: []float64{20, 50, 100}}
	level := func(slit float64) (out [3]float64) {
		for i, v := range w.Headphone(0, 0, capture.Left, simulate.Placement{SlitMM: slit}, g) {
			out[i] = 20 * math.Log10(cmplx.Abs(v))
		}
		return out
	}
	sealed := level(0)
	for _, height := range []float64{0.15, 0.3, 0.45} {
		s, leaking := w.Seal(0, 0, capture.Left, simulate.Placement{SlitMM: height}), level(height)
		// R/M = 10η/(ρt²) of a slit gives both from the corner.
		rm := 10 * simulate.AirViscosity / (rho * height * height * 1e-6)
		w0 := 2 * math.Pi * s.CornerHz
		for i, f := range g.Hz {
			if got := sealed[i] - leaking[i]; math.Abs(got-s.LossDB[i]) > 0.02 {
				t.Errorf("slit %.2f mm, %.0f Hz: loses %.3f dB, the truth is %.3f", height, f, got, s.LossDB[i])
			}
			om := 2 * math.Pi * f
			h := complex(-om*om, om*rm) / complex(w0*w0-om*om, om*rm)
			if want := -20 * math.Log10(cmplx.Abs(h)); math.Abs(want-s.LossDB[i]) > 0.5 {
				t.Errorf("slit %.2f mm, %.0f Hz: %.2f dB, the handbook's circuit %.2f", height, f, s.LossDB[i], want)
			}
		}
	}
	if s := w.Seal(1, 0, capture.Left, simulate.Placement{SlitMM: 0.3}); s != (simulate.Seal{}) {
		t.Errorf("open back has a seal: %+v", s)
	}
	if s := w.Seal(0, 0, capture.Left, simulate.Placement{}); s != (simulate.Seal{}) {
		t.Errorf("a sealed ear leaks: %+v", s)
	}
}

// Levels bend no more over a tenth of a millimetre than over one: the ear
// glides over the lattice. Curvature in dB/mm², and how it would look with jumps.
func TestSmoothInDisplacement(t *testing.T) {
	w := World(4, simulate.BarDesign(), []bool{false, true}).(*world)
	r := rand.New(rand.NewPCG(1, 2))
	for m := range w.cups {
		c, e := &w.cups[m][0], &w.ears[m][0]
		for _, f := range []float64{500, 3000, 6000, 9000, 13000, 16000} {
			level := func(p simulate.Placement) float64 {
				on := c.on(e, p)
				face, entry := on.impedances(f, 0, make([]complex128, len(on.driver)))
				return 20 * math.Log10(cmplx.Abs(c.pressure(f, face, entry)))
			}
			var fine, coarse float64
			for range 12 {
				start := 8*r.Float64() - 4
				line := func(mm float64) simulate.Placement {
					return simulate.Placement{Displacement: capture.Displacement{ForwardMM: start + 0.8*mm, UpMM: 0.6*mm - start, RotationDeg: mm}}
				}
				bend := func(mm float64) float64 {
					return math.Abs(level(line(mm))-2*level(line(0))+level(line(-mm))) / (mm * mm)
				}
				fine, coarse = max(fine, bend(0.1)), max(coarse, bend(0.8))
			}
			if fine > 2*coarse+0.02 {
				t.Errorf("model %d, %.0f Hz: bends by %.3f dB/mm² over 0.1 mm, %.3f over 0.8 mm", m, f, fine, coarse)
			}
		}
	}
}
