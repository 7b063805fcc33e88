// Package lattice is generator C of the proving ground, a physics of its own:
// the wave equation in the narrow and uneven air between a cup and the relief of
// an ear, by finite elements on a lattice.
package lattice

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/interp"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// World is generator C.
func World(seed uint64, d simulate.Design, open []bool) simulate.Acoustics {
	r := rand.New(rand.NewPCG(seed, 0xCEA1))
	w := &world{free: newMesh(0.036, 0.042, 0.7, 12, 15)}
	for range d.Listeners {
		s := drawPair(r)
		w.ears = append(w.ears, [2]ear{s[0].grow(d.EarStrength), s[1].grow(d.EarStrength)})
	}
	fixture := drawPair(r)[0].grow(d.EarStrength * d.FixtureEar)
	w.ears = append(w.ears, [2]ear{fixture, fixture})
	r = rand.New(rand.NewPCG(seed, 0xCC0F)) // other listeners wear the same models
	for _, o := range open {
		c := drawCup(r, o, d.Nonlinearity)
		w.cups = append(w.cups, [2]cup{c, c.twin(r)})
	}
	return w
}

type world struct {
	ears [][2]ear
	cups [][2]cup
	free *mesh // over an ear without a headphone
}

// knots are the frequencies at which the lattice is solved: closer than the
// width of its resonances, and closer yet where a slit is felt.
var knots = func() []float64 {
	f := []float64{0, 20, 50, 110}
	for last := 190.0; last < 21000; last += 190 + 0.013*last {
		f = append(f, last)
	}
	return append(f, 21400)
}()

// smooth carries a complex curve from the knots to any frequency.
type smooth struct{ re, im interp.NotAKnotCubic }

func newSmooth(y []complex128) *smooth {
	s := &smooth{}
	re, im := make([]float64, len(y)), make([]float64, len(y))
	for i, v := range y {
		re[i], im[i] = real(v), imag(v)
	}
	// Errors come from knots that are out of order or too few.
	if err := s.re.Fit(knots, re); err != nil {
		panic(err)
	}
	if err := s.im.Fit(knots, im); err != nil {
		panic(err)
	}
	return s
}

func (s *smooth) at(f float64) complex128 {
	f = min(f, knots[len(knots)-1])
	return complex(s.re.Predict(f), s.im.Predict(f))
}

// Headphone implements simulate.Acoustics. What is interpolated over frequency
// is what the lattice adds to the cavity as a lump, which is 0 at 0 Hz.
func (w *world) Headphone(model, subject int, side capture.Ear, p simulate.Placement, g *simulate.Grid) []complex128 {
	c := &w.cups[model][side]
	on := c.on(&w.ears[subject][side], p)
	lump := on.lump()
	face, entry := make([]complex128, len(knots)), make([]complex128, len(knots))
	x := make([]complex128, len(on.driver))
	for i, f := range knots[1:] {
		zf, ze := on.impedances(f, p.SlitMM, x)
		z0 := lump.impedance(f, p.SlitMM)
		face[i+1], entry[i+1] = zf-z0, ze-z0
	}
	atFace, atEntry := newSmooth(face), newSmooth(entry)
	gain := complex(math.Pow(10, p.GainDB/20), 0)
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		f = max(f, 1)
		z0 := lump.impedance(f, p.SlitMM)
		out[i] = gain * c.pressure(f, atFace.at(f)+z0, atEntry.at(f)+z0)
	}
	return out
}

// Loudspeaker implements simulate.Acoustics: a plane wave from the front and
// side onto the same relief, without a lid.
func (w *world) Loudspeaker(subject int, side capture.Ear, yawDeg float64, mic [2]float64, g *simulate.Grid) []complex128 {
	if side == capture.Right {
		yawDeg = -yawDeg
	}
	b := bare(w.free, &w.ears[subject][side], mic)
	field := make([]complex128, len(knots))
	for i, f := range knots {
		field[i] = b.field(max(f, 1), 50+yawDeg, 5)
	}
	s := newSmooth(field)
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		// A head is small at low frequencies and doubles the pressure at high
		// ones; the loudspeaker ends at 55 Hz.
		head := (1 + complex(0, 2*f/650)) / (1 + complex(0, f/650)) / 2
		x := complex(0, f/55)
		box := x * x / (x*x + 1.4*x + 1)
		out[i] = head * box * s.at(f)
	}
	return out
}

// Canal implements simulate.Acoustics.
func (w *world) Canal(subject int, side capture.Ear, g *simulate.Grid) []complex128 {
	out := make([]complex128, len(g.Hz))
	for i, f := range g.Hz {
		out[i] = w.ears[subject][side].canal.transfer(f)
	}
	return out
}

// Seal implements simulate.Acoustics.
func (w *world) Seal(model, subject int, side capture.Ear, p simulate.Placement) simulate.Seal {
	return w.cups[model][side].seal(&w.ears[subject][side], p)
}
