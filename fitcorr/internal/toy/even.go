package toy

import (
	"fmt"
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// Bench is one model on the fixture alone: a survey, ordinary seatings, and
// where the cups truly were.
type Bench struct {
	Seatings []seat.Seating
	Pos      map[string][2][3]float64 // by ID, per ear: mm, mm, degrees
}

// NearEven is a bench with centred drivers over round cups, whose level answers
// nearly alike to a displacement and to its mirror image about the middle: the
// lengths of the sound paths bend with the displacement (evenPaths). odd is the
// share of a plain slope in them, the only thing that tells one side from the
// other: 0 for none, 1 for as much of it as of the bend. The twelve ordinary
// seatings lie 0 to 8 mm from the marked position in all directions.
func NearEven(seed uint64, odd float64) Bench {
	rng := rand.New(rand.NewPCG(seed, 4711))
	ears := [2]evenPaths{newEvenPaths(rng, odd), newEvenPaths(rng, odd)}
	b := Bench{Pos: map[string][2][3]float64{}}
	add := func(s seat.Seating, common [3]float64, own float64) {
		var pos [2][3]float64
		for e := range pos {
			for a := range 3 {
				pos[e][a] = common[a] + own*rng.NormFloat64()
			}
			s.Ears[e] = ears[e].curve(rng, pos[e])
		}
		s.Model, s.Subject, s.Point = "Model E", capture.FixtureSubject, capture.Blocked
		b.Pos[s.ID] = pos
		b.Seatings = append(b.Seatings, s)
	}
	const ruler = 0.3 // mm and degrees
	for i, d := range displacements() {
		at := d.Vector()
		for a := range at {
			at[a] += ruler * rng.NormFloat64()
		}
		add(seat.Seating{ID: fmt.Sprint("survey", i), Number: 100 + i, Survey: &d}, at, ruler/3)
	}
	for i := range 12 {
		r, phi := 8*float64(i)/11, 2*math.Pi*rng.Float64()
		at := [3]float64{r * math.Cos(phi), r * math.Sin(phi), rng.NormFloat64()}
		add(seat.Seating{ID: fmt.Sprint("fixture", i), Number: i + 1}, at, 0.2)
	}
	return b
}

// evenPaths are sound paths whose delay in µs at the displacement d is
// paths' own with each mm of d replaced by odd·d + d·|d| bent to be even about
// the middle: forward²/5, up²/5 and their product, mm.
type evenPaths struct {
	paths
	cross  []float64  // µs per mm of forward·up/5
	middle [3]float64 // about which the level is even
	odd    float64
}

func newEvenPaths(rng *rand.Rand, odd float64) evenPaths {
	p := evenPaths{paths: newPaths(rng), odd: odd}
	for range p.turn {
		p.cross = append(p.cross, 2.5*rng.NormFloat64())
	}
	for a := range 2 {
		p.middle[a] = 2 * rng.NormFloat64()
	}
	return p
}

func (p evenPaths) curve(rng *rand.Rand, d [3]float64) seat.Curve {
	c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	x, y := d[0]-p.middle[0], d[1]-p.middle[1]
	bent := [3]float64{x*x/5 + p.odd*x, y*y/5 + p.odd*y, d[2]}
	q := p.paths
	q.delayUS = append([]float64(nil), p.delayUS...)
	for k := range q.delayUS {
		if k > 0 {
			q.delayUS[k] += p.cross[k] * x * y / 5
		}
	}
	const noiseDB, scatterDB = 0.05, 0.15
	gain, smooth := 0.3*rng.NormFloat64(), 0.0
	for i, f := range band.All() {
		if i%8 == 0 {
			smooth = 0.5*smooth + rng.NormFloat64()
		}
		c.LevelDB[i] = q.Level(f.Mid, bent) + gain + scatterDB*smooth*math.Min(1.5, 0.2+f.Mid/8000) + noiseDB*rng.NormFloat64()
		c.StdErrDB[i], c.Valid[i] = noiseDB, true
	}
	return c
}
