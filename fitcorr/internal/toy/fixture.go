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

// paths is a headphone on an ear as a sum of sound paths whose lengths change
// with the displacement: not the survey's model.
type paths struct {
	strength []float64
	delayUS  []float64
	turn     [][3]float64 // µs per mm and degree
}

func newPaths(rng *rand.Rand) paths {
	p := paths{strength: []float64{1}, delayUS: []float64{0}, turn: [][3]float64{{}}}
	for k := range 5 {
		p.strength = append(p.strength, 0.5*math.Pow(0.8, float64(k)))
		p.delayUS = append(p.delayUS, 40+60*float64(k)+20*rng.Float64())
		p.turn = append(p.turn, [3]float64{2.5 * rng.NormFloat64(), 2.5 * rng.NormFloat64(), 0.4 * rng.NormFloat64()})
	}
	return p
}

func (p paths) Level(f float64, d [3]float64) float64 {
	var sum complex128
	for k, a := range p.strength {
		tau := p.delayUS[k]
		for i, v := range p.turn[k] {
			tau += v * d[i]
		}
		sum += complex(a, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*tau*1e-6))
	}
	return 20 * math.Log10(cmplx.Abs(sum)+0.05)
}

// Fixture is one simulated model on the fixture: survey rows and seatings
// at known places, with estimates of those places.
type Fixture struct {
	Rows      []seat.Seating // of the survey
	Seatings  []seat.Seating // rows, then the ordinary seatings
	OnFixture []Placed
	People    []Placed
	WornMean  [2]seat.Estimate
	WornAt    [3]float64
	Paths     [2]paths
	Drum      func(f float64, d [3]float64) float64 // blocked to drum
}

// Placed is where a seating is estimated to be, per ear.
type Placed struct {
	ID, Subject string
	Number      int
	Ears        [2]seat.Estimate
}

// NewFixture makes a survey of 13 displacements, seatings on the fixture
// at the given offsets and eight listeners around wornAt. Offsets are known to
// fixtureSD, the worn mean to wornSD (mm), from elsewhere than the levels.
func NewFixture(seed uint64, at [][3]float64, wornAt [3]float64, fixtureSD, wornSD, scatterDB float64) Fixture {
	rng := rand.New(rand.NewPCG(seed, 77))
	st := Fixture{WornAt: wornAt, Paths: [2]paths{newPaths(rng), newPaths(rng)}}
	st.Drum = func(f float64, _ [3]float64) float64 { return 8 * math.Exp(-math.Pow(math.Log2(f/2800), 2)) }
	all := band.All()
	recorded := func(id string, number int, point capture.Point, d [3]float64, survey *capture.Displacement) seat.Seating {
		s := seat.Seating{ID: id, Model: "M", Subject: capture.FixtureSubject, Point: point, Number: number, Survey: survey}
		for e := range s.Ears {
			c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			smooth := 0.0
			for b, f := range all {
				if b%8 == 0 {
					smooth = rng.NormFloat64()
				}
				c.LevelDB[b] = st.Paths[e].Level(f.Mid, d) + scatterDB*smooth*math.Min(1, f.Mid/4000) + 0.02*rng.NormFloat64()
				if point == capture.Drum {
					c.LevelDB[b] += st.Drum(f.Mid, d)
				}
				c.StdErrDB[b], c.Valid[b] = 0.02, true
			}
			s.Ears[e] = c
		}
		return s
	}
	for _, d := range [][3]float64{{}, {}, {6, 0, 0}, {-6, 0, 0}, {0, 6, 0}, {0, -6, 0}, {4, 4, 0}, {-4, 4, 0}, {4, -4, 0}, {-4, -4, 0}, {3, 0, 0}, {-3, 0, 0}, {0, 3, 0}, {0, -3, 0}} {
		st.Rows = append(st.Rows, recorded(fmt.Sprint("survey", len(st.Rows)), 100+len(st.Rows), capture.Blocked, d, &capture.Displacement{ForwardMM: d[0], UpMM: d[1]}))
	}
	st.Seatings = st.Rows[:len(st.Rows):len(st.Rows)]
	around := func(v [3]float64, sd float64) seat.Estimate {
		var e seat.Estimate
		for a := range 2 {
			e.Value[a] = v[a] + sd*rng.NormFloat64()
			e.Cov[a][a] = sd * sd
		}
		return e
	}
	for i, d := range at {
		id := fmt.Sprint("f", i)
		st.Seatings = append(st.Seatings, recorded(id, i, capture.Blocked, d, nil), recorded(id+"d", i, capture.Drum, d, nil))
		st.OnFixture = append(st.OnFixture, Placed{id, capture.FixtureSubject, i, [2]seat.Estimate{around(d, fixtureSD), around(d, fixtureSD)}})
	}
	for e := range st.WornMean {
		st.WornMean[e] = around(wornAt, wornSD)
	}
	for l := range 8 {
		p := wornAt
		for a := range 2 {
			p[a] += 1.5 * rng.NormFloat64()
		}
		st.People = append(st.People, Placed{fmt.Sprint("w", l), fmt.Sprint("L", l), 0, [2]seat.Estimate{around(p, wornSD), around(p, wornSD)}})
	}
	return st
}
