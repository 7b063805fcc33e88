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
	d := &drawn{Plan: p, rng: rand.New(rand.NewPCG(p.Seed, 77)), truth: Truth{map[string][2][3]float64{}, map[string][3]float64{}, map[string][3]float64{}}}
	d.fixture = d.ears()
	for range p.Listeners {
		d.people = append(d.people, d.ears())
	}
	for i := range p.Models {
		h := named(i)
		d.surveyed(h)
		mean := d.normal(1)
		mean[2] = 0
		d.truth.Pop[h.name] = mean
		d.onFixture(h)
		d.displaced(h, d.worn(h))
	}
	if p.Bare {
		d.bare("bare/fixture", capture.FixtureSubject, d.fixture)
		for i, e := range d.people {
			d.bare("bare/"+listener(i), listener(i), e)
		}
	}
	if p.Drum {
		for i := range p.Models {
			d.atDrum(named(i))
		}
	}
	return d.seatings, d.truth
}

// drawn is a study that is being invented.
type drawn struct {
	Plan
	rng      *rand.Rand
	fixture  [2]Ear
	people   [][2]Ear
	seatings []seat.Seating
	truth    Truth
}

// headphone is one of the models.
type headphone struct {
	model
	name string
}

func named(i int) headphone {
	return headphone{Models[i%len(Models)], fmt.Sprintf("Model %c", 'A'+i)}
}

func listener(i int) string { return fmt.Sprintf("L%02d", i+1) }

// ears are those of one head.
func (d *drawn) ears() [2]Ear {
	e := NewEar(d.rng, d.Ear)
	return [2]Ear{e, e.Near(d.rng, d.Ear)}
}

func (d *drawn) normal(sd float64) [3]float64 {
	return [3]float64{sd * d.rng.NormFloat64(), sd * d.rng.NormFloat64(), sd * d.rng.NormFloat64()}
}

// cups are the positions of both cups of a headset, each with an error of its own.
func (d *drawn) cups(headset [3]float64, sd float64) (out [2][3]float64) {
	for e := range 2 {
		out[e] = plus(headset, d.normal(sd))
	}
	return out
}

func plus(a, b [3]float64) [3]float64 { return [3]float64{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func db(v complex128) float64 { return 20 * math.Log10(cmplx.Abs(v)) }

// curve is a level with noise, a gain of its own and a smooth random curve that grows with frequency.
func (d *drawn) curve(level func(hz float64) float64, scatter float64) seat.Curve {
	c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	gain := 0.3 * d.rng.NormFloat64()
	type bump struct{ at, amp, width float64 }
	var bumps []bump
	for o := 8.0; o < 14.5; o += 0.35 {
		bumps = append(bumps, bump{o + 0.1*d.rng.NormFloat64(), d.rng.NormFloat64(), 0.35})
	}
	for b, x := range band.All() {
		var s, w float64
		for _, k := range bumps {
			g := math.Exp(-0.5 * math.Pow((math.Log2(x.Mid)-k.at)/k.width, 2))
			s += k.amp * g
			w += g * g
		}
		s *= scatter * math.Min(1.5, 0.2+x.Mid/8000) / math.Sqrt(w+1e-9)
		c.LevelDB[b] = level(x.Mid) + gain + s + d.noise*d.rng.NormFloat64()
		c.StdErrDB[b], c.Valid[b] = d.noise, true
	}
	return c
}

// add makes the curves of a seating with the cups at pos; canal is what the ear canal adds, dB, nil for nothing.
func (d *drawn) add(s seat.Seating, h headphone, ears [2]Ear, pos [2][3]float64, canal func(hz float64) float64) {
	s.Model = h.name
	for e := range 2 {
		s.Ears[e] = d.curve(func(hz float64) float64 {
			level := db(h.Pressure(hz, ears[e], pos[e])) + ears[e].VolumeDB
			if canal != nil {
				level += canal(hz)
			}
			return level
		}, d.scatter)
	}
	d.truth.Pos[s.ID] = pos
	d.seatings = append(d.seatings, s)
}

// surveyed displaces a model on the fixture, at the blocked entrance.
func (d *drawn) surveyed(h headphone) {
	for i, by := range d.survey {
		d.add(seat.Seating{ID: fmt.Sprintf("%s/survey%d", h.name, i), Subject: capture.FixtureSubject, Point: capture.Blocked, Number: i, Survey: &by},
			h, d.fixture, d.cups(plus(by.Vector(), d.normal(d.ruler)), d.ruler/3), nil)
	}
}

// onFixture seats a model on the fixture: at the worn mean, and off by 6 mm.
func (d *drawn) onFixture(h headphone) {
	for i := range 6 {
		at := d.truth.Pop[h.name]
		if i%2 == 1 {
			phi := 2 * math.Pi * d.rng.Float64()
			at[0] += 6 * math.Cos(phi)
			at[1] += 6 * math.Sin(phi)
		}
		d.add(seat.Seating{ID: fmt.Sprintf("%s/fixture%d", h.name, i), Subject: capture.FixtureSubject, Point: capture.Blocked, Number: i},
			h, d.fixture, d.cups(at, 0.2), nil)
	}
}

// worn has everybody wear a model, and returns where each usually does.
func (d *drawn) worn(h headphone) (usual [][3]float64) {
	var panel [3]float64
	for li, ears := range d.people {
		at := plus(d.truth.Pop[h.name], d.normal(d.between))
		usual = append(usual, at)
		for k := range d.Seatings {
			pos := d.cups(plus(at, d.normal(d.within)), 0.4)
			for a := range 3 {
				panel[a] += (pos[0][a] + pos[1][a]) / 2 / float64(d.Listeners*d.Seatings)
			}
			d.add(seat.Seating{ID: fmt.Sprintf("%s/%s/%d", h.name, listener(li), k), Subject: listener(li), Point: capture.Blocked, Number: k}, h, ears, pos, nil)
		}
	}
	d.truth.Mean[h.name] = panel
	return usual
}

// displaced has some wear it displaced on purpose from where they usually do.
func (d *drawn) displaced(h headphone, usual [][3]float64) {
	for li := range min(d.Displaced, len(d.people)) {
		for i, v := range [][2]float64{{4, 0}, {-4, 0}, {0, 4}, {0, -4}} {
			at := plus(usual[li], d.normal(d.ruler))
			at[0] += v[0]
			at[1] += v[1]
			d.add(seat.Seating{ID: fmt.Sprintf("%s/%s/displaced%d", h.name, listener(li), i), Subject: listener(li),
				Point: capture.Blocked, Number: 100 + i, Survey: &capture.Displacement{ForwardMM: v[0], UpMM: v[1]}}, h, d.people[li], d.cups(at, 0.2), nil)
		}
	}
}

// bare is the bare-ear reference of a subject.
func (d *drawn) bare(id, subject string, ears [2]Ear) {
	s := seat.Seating{ID: id, Subject: subject, Point: capture.Blocked}
	for e := range 2 {
		s.Ears[e] = d.curve(func(hz float64) float64 { return db(bareEar(hz, ears[e])) }, 0.7*d.scatter)
	}
	d.seatings = append(d.seatings, s)
}

// atDrum surveys and seats a model at the drum.
func (d *drawn) atDrum(h headphone) {
	canal := func(hz float64) float64 { return 10 * math.Exp(-math.Pow(math.Log2(hz/2800), 2)) } // of a quarter wave, dB
	for i, by := range d.survey {
		at := plus(by.Vector(), plus(d.normal(d.ruler), d.Mark))
		d.add(seat.Seating{ID: fmt.Sprintf("%s/drum survey%d", h.name, i), Subject: capture.FixtureSubject, Point: capture.Drum, Number: 200 + i, Survey: &by},
			h, d.fixture, d.cups(at, d.ruler/3), canal)
	}
	for i := range 6 {
		at, phi := d.truth.Pop[h.name], 2*math.Pi*d.rng.Float64()
		at[0] += 6 * float64(i%2) * math.Cos(phi)
		at[1] += 6 * float64(i%2) * math.Sin(phi)
		d.add(seat.Seating{ID: fmt.Sprintf("%s/drum%d", h.name, i), Subject: capture.FixtureSubject, Point: capture.Drum, Number: 20 + i}, h, d.fixture, d.cups(at, 0.2), canal)
	}
}
