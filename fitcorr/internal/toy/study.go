package toy

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// Small is a plan that is analysed in about a second: two models, four listeners.
func Small(seed uint64) Plan {
	p := Default(seed)
	p.Models, p.Listeners, p.Seatings, p.scatter = 2, 4, 2, 0.15
	return p
}

// Plan says what study to invent; start from Default or Small.
type Plan struct {
	Seed      uint64
	Models    int
	Listeners int
	Seatings  int
	Bare      bool
	Ear       float64 // strength of ear differences
	between   float64 // mm
	within    float64
	ruler     float64
	noise     float64 // dB at 1/24 octave
	scatter   float64 // dB, of a smooth random curve per seating
	survey    []capture.Displacement
	Displaced int // listeners who also wear every model displaced on purpose
	// Drum adds a survey and ordinary seatings at the drum, in placements of
	// their own; Mark is by how much the marked position of that survey is off.
	Drum bool
	Mark [3]float64
}

// Default is a plan of the usual size, and the law that Small makes smaller.
func Default(seed uint64) Plan {
	return Plan{Seed: seed, Models: 3, Listeners: 8, Seatings: 5, Bare: true, Ear: 1,
		between: 1.5, within: 1.2, ruler: 0.3, noise: 0.1, scatter: 0.25, survey: displacements()}
}

func displacements() []capture.Displacement {
	var out []capture.Displacement
	for _, v := range [][2]float64{{0, 0}, {4, 0}, {-4, 0}, {0, 4}, {0, -4}, {8, 0}, {-8, 0}, {0, 8}, {0, -8}, {5, 5}, {-5, 5}, {5, -5}, {-5, -5}} {
		out = append(out, capture.Displacement{ForwardMM: v[0], UpMM: v[1]})
	}
	for _, r := range []float64{-8, 8} {
		out = append(out, capture.Displacement{RotationDeg: r})
	}
	return out
}

// Truth is what a toy study really was.
type Truth struct {
	Pos  map[string][2][3]float64 // per seating and ear
	Mean map[string][3]float64    // worn mean of the panel per model, headset
	Pop  map[string][3]float64    // population mean per model, headset
}

// Study makes the seatings of a plan and their truth.
func (p Plan) Study() ([]seat.Seating, Truth) {
	rng := rand.New(rand.NewPCG(p.Seed, 77))
	truth := Truth{map[string][2][3]float64{}, map[string][3]float64{}, map[string][3]float64{}}
	var ss []seat.Seating
	bands := band.All()
	curve := func(level func(hz float64) float64, scatter float64) seat.Curve {
		c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
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
	add := func(s seat.Seating, m model, ears [2]Ear, pos [2][3]float64) {
		for e := range 2 {
			s.Ears[e] = curve(func(hz float64) float64 { return db(m.Pressure(hz, ears[e], pos[e])) + ears[e].VolumeDB }, p.scatter)
		}
		truth.Pos[s.ID] = pos
		ss = append(ss, s)
	}
	pair := func() [2]Ear {
		e := NewEar(rng, p.Ear)
		return [2]Ear{e, e.Near(rng, p.Ear)}
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
	people := make([][2]Ear, p.Listeners)
	for i := range people {
		people[i] = pair()
	}
	for mi := range p.Models {
		m := Models[mi%len(Models)]
		name := fmt.Sprintf("Model %c", 'A'+mi)
		for i, d := range p.survey {
			v := d.Vector()
			e := normal(p.ruler)
			pos := both([3]float64{v[0] + e[0], v[1] + e[1], v[2] + e[2]}, p.ruler/3)
			add(seat.Seating{ID: fmt.Sprintf("%s/survey%d", name, i), Model: name, Subject: capture.FixtureSubject, Point: capture.Blocked, Number: i, Survey: &d}, m, fixture, pos)
		}
		mean := normal(1)
		mean[2] = 0
		truth.Pop[name] = mean
		// Fixture seatings: at the worn mean, and off by 6 mm.
		for i := range 6 {
			d := mean
			if i%2 == 1 {
				phi := 2 * math.Pi * rng.Float64()
				d[0] += 6 * math.Cos(phi)
				d[1] += 6 * math.Sin(phi)
			}
			add(seat.Seating{ID: fmt.Sprintf("%s/fixture%d", name, i), Model: name, Subject: capture.FixtureSubject, Point: capture.Blocked, Number: i}, m, fixture, both(d, 0.2))
		}
		var panel [3]float64
		usual := make([][3]float64, len(people))
		for li, ears := range people {
			b := normal(p.between)
			for a := range 3 {
				usual[li][a] = mean[a] + b[a]
			}
			for k := range p.Seatings {
				w := normal(p.within)
				var d [3]float64
				for a := range 3 {
					d[a] = mean[a] + b[a] + w[a]
				}
				pos := both(d, 0.4)
				for a := range 3 {
					panel[a] += (pos[0][a] + pos[1][a]) / 2 / float64(p.Listeners*p.Seatings)
				}
				add(seat.Seating{ID: fmt.Sprintf("%s/L%02d/%d", name, li+1, k), Model: name, Subject: fmt.Sprintf("L%02d", li+1), Point: capture.Blocked, Number: k}, m, ears, pos)
			}
		}
		truth.Mean[name] = panel
		for li := range min(p.Displaced, len(people)) {
			for i, v := range [][2]float64{{4, 0}, {-4, 0}, {0, 4}, {0, -4}} {
				d, e := usual[li], normal(p.ruler)
				for a := range 3 {
					d[a] += e[a]
				}
				d[0] += v[0]
				d[1] += v[1]
				add(seat.Seating{ID: fmt.Sprintf("%s/L%02d/displaced%d", name, li+1, i), Model: name, Subject: fmt.Sprintf("L%02d", li+1),
					Point: capture.Blocked, Number: 100 + i, Survey: &capture.Displacement{ForwardMM: v[0], UpMM: v[1]}}, m, people[li], both(d, 0.2))
			}
		}
	}
	if p.Bare {
		reference := func(id, subject string, ears [2]Ear) {
			s := seat.Seating{ID: id, Subject: subject, Point: capture.Blocked}
			for e := range 2 {
				s.Ears[e] = curve(func(hz float64) float64 { return db(bareEar(hz, ears[e])) }, 0.7*p.scatter)
			}
			ss = append(ss, s)
		}
		reference("bare/fixture", capture.FixtureSubject, fixture)
		for i, e := range people {
			reference(fmt.Sprintf("bare/L%02d", i+1), fmt.Sprintf("L%02d", i+1), e)
		}
	}
	if p.Drum {
		for mi := range p.Models {
			m, name := Models[mi%len(Models)], fmt.Sprintf("Model %c", 'A'+mi)
			atDrum := func(s seat.Seating, pos [2][3]float64) {
				s.Model, s.Subject, s.Point = name, capture.FixtureSubject, capture.Drum
				for e := range 2 {
					s.Ears[e] = curve(func(hz float64) float64 {
						canal := 10 * math.Exp(-math.Pow(math.Log2(hz/2800), 2)) // of a quarter wave, dB
						return db(m.Pressure(hz, fixture[e], pos[e])) + fixture[e].VolumeDB + canal
					}, p.scatter)
				}
				truth.Pos[s.ID] = pos
				ss = append(ss, s)
			}
			for i, d := range p.survey {
				at, e := d.Vector(), normal(p.ruler)
				for a := range at {
					at[a] += e[a] + p.Mark[a]
				}
				atDrum(seat.Seating{ID: fmt.Sprintf("%s/drum survey%d", name, i), Number: 200 + i, Survey: &d}, both(at, p.ruler/3))
			}
			for i := range 6 {
				at, phi := truth.Pop[name], 2*math.Pi*rng.Float64()
				at[0] += 6 * float64(i%2) * math.Cos(phi)
				at[1] += 6 * float64(i%2) * math.Sin(phi)
				atDrum(seat.Seating{ID: fmt.Sprintf("%s/drum%d", name, i), Number: 20 + i}, both(at, 0.2))
			}
		}
	}
	return ss, truth
}
