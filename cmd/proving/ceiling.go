package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// The ceiling is what a linear rule reaches that was taught on many people
// whose ears and true offsets are known, something no study offers: where it
// misses a bar, the design is beyond the method, and where an estimator comes
// near it, little is left to gain.

const (
	ceilingPeople = 600 // drawn; the last third is kept for testing
	ceilingEach   = 8   // pairs of a person and a fixture's ear per taught person
	ceilingPanels = 200
	panelSize     = 8
)

// person is one ear pair with its worn seatings on every model: features of
// each seating, of the mark, and of the bare ear.
type person struct {
	seatings [][][]float64  // model, seating, feature
	truth    [][][3]float64 // model, seating
	mark     [][]float64    // model: placed at the mark, as if this were the fixture
	bare     []float64
}

// teachable draws people and measures them. What a study would not know of
// people's mean is part of the spread of each person.
func teachable(ctx context.Context, world simulate.World, d simulate.Design, seed uint64, jobs int) ([]person, error) {
	d.Listeners, d.SurveySize, d.FixtureSeatings, d.LeakChance, d.BareEar = ceilingPeople, 0, 0, 0, true
	d.BetweenSD, d.MeanSD = math.Hypot(d.BetweenSD, d.MeanSD), 0
	s := simulate.Draw(seed, d, world)
	for m := range s.Models {
		for i := range d.Listeners {
			row := simulate.Row{ModelIndex: m, SubjectIndex: i}
			row.Model, row.Point = s.Models[m], capture.Blocked
			s.Rows = append(s.Rows, row)
		}
	}
	measured, err := s.Seatings(ctx, seed, jobs)
	if err != nil {
		return nil, err
	}
	people := make([]person, d.Listeners)
	for i := range people {
		people[i].seatings = make([][][]float64, len(s.Models))
		people[i].truth = make([][][3]float64, len(s.Models))
		people[i].mark = make([][]float64, len(s.Models))
	}
	for j, r := range s.Rows {
		if r.SubjectIndex >= len(people) {
			continue
		}
		p, x := &people[r.SubjectIndex], features(measured[j].Ears[0].LevelDB, measured[j].Ears[1].LevelDB)
		switch m := r.ModelIndex; {
		case m < 0:
			p.bare = x
		case r.Number == 0:
			p.mark[m] = x
		default:
			p.seatings[m] = append(p.seatings[m], x)
			p.truth[m] = append(p.truth[m], r.Headset())
		}
	}
	return people, nil
}

// features are levels from 300 Hz to 18 kHz in sixths of an octave, both ears.
func features(ears ...[]float64) []float64 {
	var out []float64
	for _, l := range ears {
		for b := 92; b+4 <= 236; b += 4 {
			out = append(out, (l[b]+l[b+1]+l[b+2]+l[b+3])/4)
		}
	}
	return out
}

// known says what the rule may use beside the model's own seatings.
type known struct {
	name        string
	panel, bare bool
}

// example is the difference of one seating of a person to a fixture's ear,
// with everything that is shared between the person's seatings behind it.
func example(p, fixture person, model, seating int, k known) []float64 {
	out := minus(p.seatings[model][seating], fixture.mark[model])
	for m := range p.seatings {
		if m == model || k.panel {
			out = append(out, minus(average(p.seatings[m]), fixture.mark[m])...)
		}
	}
	if k.bare {
		out = append(out, minus(p.bare, fixture.bare)...)
	}
	return out
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

func average(v [][]float64) []float64 {
	out := make([]float64, len(v[0]))
	for _, x := range v {
		for i := range x {
			out[i] += x[i] / float64(len(v))
		}
	}
	return out
}

// ceiling teaches and tests the rule for every model of a design.
func ceiling(ctx context.Context, w io.Writer, world simulate.World, d simulate.Design, seed uint64, jobs int) error {
	people, err := teachable(ctx, world, d, seed, jobs)
	if err != nil {
		return err
	}
	fmt.Fprint(w, "| model | known beside the model's own seatings | worn RMS, forward / up / rotation | worn mean RMS |\n|---|---|---|---|\n")
	for m := range people[0].seatings {
		for _, k := range []known{{"nothing", false, false}, {"other models", true, false}, {"bare ear", false, true}, {"both", true, true}} {
			worn, mean := taught(people, m, k, rand.New(rand.NewPCG(seed, uint64(m))))
			fmt.Fprintf(w, "| %c | %s | %.2f / %.2f / %.2f | %.2f / %.2f / %.2f |\n", 'A'+m, k.name, worn[0], worn[1], worn[2], mean[0], mean[1], mean[2])
		}
	}
	return nil
}

// taught fits by ridge regression on two thirds of the people and returns the
// RMS errors on panels of the rest: of a worn seating and of a panel's mean.
func taught(people []person, model int, k known, r *rand.Rand) (worn, mean [3]float64) {
	split := len(people) * 2 / 3
	var x [][]float64
	var y [][3]float64
	for i := range split {
		for range ceilingEach {
			j, s := r.IntN(split), r.IntN(len(people[i].seatings[model]))
			if j != i {
				x, y = append(x, example(people[i], people[j], model, s, k)), append(y, people[i].truth[model][s])
			}
		}
	}
	rule := ridge(x, y)
	n := 0.0
	for range ceilingPanels {
		panel := r.Perm(len(people) - split)[:panelSize+1]
		fixture := people[split+panel[panelSize]]
		var sum [3]float64
		count := 0.0
		for _, i := range panel[:panelSize] {
			p := people[split+i]
			for s := range p.seatings[model] {
				got := rule(example(p, fixture, model, s, k))
				for a := range 3 {
					e := got[a] - p.truth[model][s][a]
					worn[a] += e * e
					sum[a] += e
				}
				count++
			}
		}
		for a := range 3 {
			mean[a] += sum[a] / count * sum[a] / count
		}
		n += count
	}
	for a := range 3 {
		worn[a], mean[a] = math.Sqrt(worn[a]/n), math.Sqrt(mean[a]/ceilingPanels)
	}
	return worn, mean
}

// ridge returns the linear rule that fits y to x, with a small penalty (dB²)
// against fitting noise.
func ridge(x [][]float64, y [][3]float64) func([]float64) [3]float64 {
	n, p := len(x), len(x[0])
	center := average(x)
	xc, yc := mat.NewDense(n, p, nil), mat.NewDense(n, 3, nil)
	var ymean [3]float64
	for i := range y {
		for a := range 3 {
			ymean[a] += y[i][a] / float64(n)
		}
	}
	for i := range x {
		xc.SetRow(i, minus(x[i], center))
		for a := range 3 {
			yc.Set(i, a, y[i][a]-ymean[a])
		}
	}
	var gram mat.SymDense
	gram.SymOuterK(1, xc.T())
	for i := range p {
		gram.SetSym(i, i, gram.At(i, i)+10)
	}
	var right, beta mat.Dense
	right.Mul(xc.T(), yc)
	var chol mat.Cholesky
	chol.Factorize(&gram) // positive definite by the penalty
	if err := chol.SolveTo(&beta, &right); err != nil {
		panic(err) // ill-conditioned is not possible with the penalty
	}
	return func(v []float64) [3]float64 {
		out := ymean
		for i, d := range minus(v, center) {
			for a := range 3 {
				out[a] += d * beta.At(i, a)
			}
		}
		return out
	}
}
