package fitcorr

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/band"
)

// The toy is physics of its own, unlike the estimator's statistics: a driver
// of point sources on a disk in front of an ear, images of it in the cup's
// rim, and a pinna of point reflectors with a concha resonance. Levels follow
// from summed pressures. A study of it knows its truth.

type toyPoint struct{ x, y, z, gain float64 } // mm; x forward, y up, z out of the head

type toyEar struct {
	reflectors []toyPoint
	conchaHz   float64
	conchaDB   float64
	volumeDB   float64
}

func newToyEar(rng *rand.Rand, strength float64) toyEar {
	base := []toyPoint{{-9, 4, 6, 0.45}, {-6, 12, 7, 0.35}, {-12, -6, 5, 0.3}, {5, -10, 6, 0.25}, {-16, 8, 9, 0.3}}
	e := toyEar{conchaHz: 4300 * math.Exp(0.07*strength*rng.NormFloat64()), conchaDB: 9 + 1.2*strength*rng.NormFloat64()}
	for _, b := range base {
		e.reflectors = append(e.reflectors, e.jitter(rng, b, strength))
	}
	e.volumeDB = 0.5 * strength * rng.NormFloat64()
	return e
}

func (toyEar) jitter(rng *rand.Rand, b toyPoint, strength float64) toyPoint {
	return toyPoint{b.x + 1.3*strength*rng.NormFloat64(), b.y + 1.3*strength*rng.NormFloat64(),
		b.z + 0.8*strength*rng.NormFloat64(), b.gain * math.Exp(0.15*strength*rng.NormFloat64())}
}

// near makes the other ear of the same head.
func (e toyEar) near(rng *rand.Rand, strength float64) toyEar {
	o := e
	o.reflectors = nil
	for _, r := range e.reflectors {
		o.reflectors = append(o.reflectors, e.jitter(rng, r, 0.4*strength))
	}
	o.conchaHz *= math.Exp(0.03 * strength * rng.NormFloat64())
	return o
}

type toyModel struct {
	radius, depth float64 // driver radius and distance to the entrance, mm
	x, y          float64 // driver's centre
	rim, absorb   float64 // cup radius; reflection of the rim
	tilt          float64
}

var toyModels = []toyModel{
	{16, 14, 8, 4, 32, 0.7, 0.15},
	{12, 11, -5, 8, 28, 0.8, 0.05},
	{17, 16, 9, -8, 36, 0.5, 0.25},
}

// pressure at the blocked entrance for a headphone displaced by d.
func (m toyModel) pressure(hz float64, ear toyEar, d [3]float64) complex128 {
	k := 2 * math.Pi * hz / 343200 // per mm
	path := func(a, b toyPoint) complex128 {
		r := math.Sqrt((a.x-b.x)*(a.x-b.x) + (a.y-b.y)*(a.y-b.y) + (a.z-b.z)*(a.z-b.z))
		return cmplx.Exp(complex(0, -k*r)) / complex(math.Max(r, 3), 0)
	}
	rot := d[2] * math.Pi / 180
	entrance := toyPoint{0, 0, 0, 1}
	var sum complex128
	source := func(x, y, z, gain float64) {
		xr := x*math.Cos(rot) + y*math.Sin(rot)
		yr := y*math.Cos(rot) - x*math.Sin(rot)
		s := toyPoint{xr + d[0], yr + d[1], z, 1}
		p := path(s, entrance)
		for _, r := range ear.reflectors {
			p += complex(9*r.gain, 0) * path(s, r) * path(r, entrance)
		}
		sum += complex(gain, 0) * p
	}
	for i := range 6 {
		phi := 2 * math.Pi * float64(i) / 6
		x, y := m.x+m.radius*math.Cos(phi), m.y+m.radius*math.Sin(phi)
		source(x, y, m.depth+m.tilt*x, 1)
		// Image in the rim.
		r := math.Hypot(x, y)
		f := (2*m.rim - r) / r
		source(x*f, y*f, m.depth, -m.absorb)
	}
	source(m.x, m.y, m.depth, 5)
	// Concha: a damped resonance.
	u := complex(0, hz/ear.conchaHz)
	g := math.Pow(10, ear.conchaDB/20) - 1
	return sum * (1 + complex(g, 0)*0.5*u/(1+0.5*u+u*u))
}

func bareToy(hz float64, ear toyEar) complex128 {
	k := 2 * math.Pi * hz / 343200
	dir := [3]float64{0.35, 0.2, math.Sqrt(1 - 0.35*0.35 - 0.04)}
	p := complex(1, 0)
	for _, r := range ear.reflectors {
		path := math.Sqrt(r.x*r.x+r.y*r.y+r.z*r.z) - (r.x*dir[0] + r.y*dir[1] + r.z*dir[2])
		p += complex(1.2*r.gain, 0) * cmplx.Exp(complex(0, -k*path))
	}
	u := complex(0, hz/ear.conchaHz)
	g := math.Pow(10, ear.conchaDB/20) - 1
	return p * (1 + complex(g, 0)*0.5*u/(1+0.5*u+u*u))
}

type toyPlan struct {
	seed      uint64
	models    int
	listeners int
	seatings  int
	bare      bool
	ear       float64 // strength of ear differences
	between   float64 // mm
	within    float64
	ruler     float64
	noise     float64 // dB at 1/24 octave
	scatter   float64 // dB, of a smooth random curve per seating
	survey    []capture.Displacement
	displaced int // listeners who also wear every model displaced on purpose
}

func defaultToy(seed uint64) toyPlan {
	return toyPlan{seed: seed, models: 3, listeners: 8, seatings: 5, bare: true, ear: 1,
		between: 1.5, within: 1.2, ruler: 0.3, noise: 0.1, scatter: 0.25, survey: toySurvey()}
}

func toySurvey() []capture.Displacement {
	var out []capture.Displacement
	for _, v := range [][2]float64{{0, 0}, {4, 0}, {-4, 0}, {0, 4}, {0, -4}, {8, 0}, {-8, 0}, {0, 8}, {0, -8}, {5, 5}, {-5, 5}, {5, -5}, {-5, -5}} {
		out = append(out, capture.Displacement{ForwardMM: v[0], UpMM: v[1]})
	}
	for _, r := range []float64{-8, 8} {
		out = append(out, capture.Displacement{RotationDeg: r})
	}
	return out
}

// toyTruth is what a toy study really was.
type toyTruth struct {
	pos  map[string][2][3]float64 // per seating and ear
	mean map[string][3]float64    // worn mean of the panel per model, headset
	pop  map[string][3]float64    // population mean per model, headset
}

// study makes the seatings of a plan and their truth.
func (p toyPlan) study() ([]Seating, toyTruth) {
	rng := rand.New(rand.NewPCG(p.seed, 77))
	truth := toyTruth{map[string][2][3]float64{}, map[string][3]float64{}, map[string][3]float64{}}
	var ss []Seating
	bands := band.All()
	curve := func(level func(hz float64) float64, scatter float64) Curve {
		c := Curve{make([]float64, band.Count), make([]float64, band.Count), make([]bool, band.Count)}
		gain := 0.3 * rng.NormFloat64()
		// A smooth random curve that grows with frequency.
		type bump struct{ at, amp, width float64 }
		var bumps []bump
		for o := 8.0; o < 14.5; o += 0.35 {
			bumps = append(bumps, bump{o + 0.1*rng.NormFloat64(), rng.NormFloat64(), 0.35})
		}
		for b, x := range bands {
			var s, w float64
			for _, k := range bumps {
				g := math.Exp(-0.5 * math.Pow((math.Log2(x.Mid)-k.at)/k.width, 2))
				s += k.amp * g
				w += g * g
			}
			s *= scatter * math.Min(1.5, 0.2+x.Mid/8000) / math.Sqrt(w+1e-9)
			c.LevelDB[b] = level(x.Mid) + gain + s + p.noise*rng.NormFloat64()
			c.StdErrDB[b], c.Valid[b] = p.noise, true
		}
		return c
	}
	db := func(v complex128) float64 { return 20 * math.Log10(cmplx.Abs(v)) }
	add := func(s Seating, m toyModel, ears [2]toyEar, pos [2][3]float64) {
		for e := range 2 {
			s.Ears[e] = curve(func(hz float64) float64 { return db(m.pressure(hz, ears[e], pos[e])) + ears[e].volumeDB }, p.scatter)
		}
		truth.pos[s.ID] = pos
		ss = append(ss, s)
	}
	pair := func() [2]toyEar {
		e := newToyEar(rng, p.ear)
		return [2]toyEar{e, e.near(rng, p.ear)}
	}
	normal := func(sd float64) [3]float64 {
		return [3]float64{sd * rng.NormFloat64(), sd * rng.NormFloat64(), sd * rng.NormFloat64()}
	}
	both := func(common [3]float64, own float64) (out [2][3]float64) {
		for e := range 2 {
			n := normal(own)
			for a := range 3 {
				out[e][a] = common[a] + n[a]
			}
		}
		return out
	}
	fixture := pair()
	people := make([][2]toyEar, p.listeners)
	for i := range people {
		people[i] = pair()
	}
	for mi := range p.models {
		m := toyModels[mi%len(toyModels)]
		name := fmt.Sprintf("Model %c", 'A'+mi)
		for i, d := range p.survey {
			v := d.Vector()
			e := normal(p.ruler)
			pos := both([3]float64{v[0] + e[0], v[1] + e[1], v[2] + e[2]}, p.ruler/3)
			add(Seating{ID: fmt.Sprintf("%s/survey%d", name, i), Model: name, Subject: fixtureSubject, Point: blocked, Number: i, Survey: &d}, m, fixture, pos)
		}
		mean := normal(1)
		mean[2] = 0
		truth.pop[name] = mean
		// Fixture seatings: at the worn mean, and off by 6 mm.
		for i := range 6 {
			d := mean
			if i%2 == 1 {
				phi := 2 * math.Pi * rng.Float64()
				d[0] += 6 * math.Cos(phi)
				d[1] += 6 * math.Sin(phi)
			}
			add(Seating{ID: fmt.Sprintf("%s/fixture%d", name, i), Model: name, Subject: fixtureSubject, Point: blocked, Number: i}, m, fixture, both(d, 0.2))
		}
		var panel [3]float64
		usual := make([][3]float64, len(people))
		for li, ears := range people {
			b := normal(p.between)
			for a := range 3 {
				usual[li][a] = mean[a] + b[a]
			}
			for k := range p.seatings {
				w := normal(p.within)
				var d [3]float64
				for a := range 3 {
					d[a] = mean[a] + b[a] + w[a]
				}
				pos := both(d, 0.4)
				for a := range 3 {
					panel[a] += (pos[0][a] + pos[1][a]) / 2 / float64(p.listeners*p.seatings)
				}
				add(Seating{ID: fmt.Sprintf("%s/L%02d/%d", name, li+1, k), Model: name, Subject: fmt.Sprintf("L%02d", li+1), Point: blocked, Number: k}, m, ears, pos)
			}
		}
		truth.mean[name] = panel
		for li := range min(p.displaced, len(people)) {
			for i, v := range [][2]float64{{4, 0}, {-4, 0}, {0, 4}, {0, -4}} {
				d, e := usual[li], normal(p.ruler)
				for a := range 3 {
					d[a] += e[a]
				}
				d[0] += v[0]
				d[1] += v[1]
				add(Seating{ID: fmt.Sprintf("%s/L%02d/displaced%d", name, li+1, i), Model: name, Subject: fmt.Sprintf("L%02d", li+1),
					Point: blocked, Number: 100 + i, Survey: &capture.Displacement{ForwardMM: v[0], UpMM: v[1]}}, m, people[li], both(d, 0.2))
			}
		}
	}
	if p.bare {
		reference := func(id, subject string, ears [2]toyEar) {
			s := Seating{ID: id, Subject: subject, Point: blocked}
			for e := range 2 {
				s.Ears[e] = curve(func(hz float64) float64 { return db(bareToy(hz, ears[e])) }, 0.7*p.scatter)
			}
			ss = append(ss, s)
		}
		reference("bare/fixture", fixtureSubject, fixture)
		for i, e := range people {
			reference(fmt.Sprintf("bare/L%02d", i+1), fmt.Sprintf("L%02d", i+1), e)
		}
	}
	return ss, truth
}
