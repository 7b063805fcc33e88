package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/cmd/internal/simulate"
)

// The ceiling is what linear rules reach that were taught on many people
// whose ears and true offsets are known, something no study offers: where they
// miss a bar, the design is beyond the method, and where an estimator comes
// near them, little is left to gain. The people tested are panels as the
// design draws them, each with a people's mean of its own on every model.

const (
	ceilingPeople   = 960 // drawn; each third is tested by rules taught on the others
	ceilingFolds    = 3
	ceilingEach     = 8    // pairs of a person and a fixture's ear per taught person
	ceilingTaught   = 6000 // panels to teach on, drawn from the taught people
	ceilingFixtures = 4    // fixture's ears per tested panel
	panelSize       = 8
)

// streams of the seeded generator past those of the models, which count from 0.
const (
	streamMeans = 1<<32 + iota
	streamRates
)

// known says what a rule may use beside the model's own seatings.
type known struct {
	name        string
	panel, bare bool
}

// example is the difference of something worn (own) to a fixture's ear, with
// what is known of the same people's ears behind it.
func example(own []float64, means [][]float64, bare []float64, fixture person, model int, k known) []float64 {
	out := minus(own, fixture.mark[model])
	for m := range means {
		if m == model || k.panel {
			out = append(out, minus(means[m], fixture.mark[m])...)
		}
	}
	if k.bare {
		out = append(out, minus(bare, fixture.bare)...)
	}
	return out
}

// ceiling teaches and tests the rules for every model of a design.
func ceiling(ctx context.Context, w io.Writer, world simulate.World, d simulate.Design, seed uint64, jobs int) error {
	people, panels, err := teachable(ctx, world, d, seed, jobs)
	if err != nil {
		return err
	}
	fmt.Fprint(w, "| model | known beside the model's own seatings | worn RMS, forward / up / rotation | this panel's mean RMS | people's mean RMS |"+
		" difference known to, forward / up | 0 mm: matches, % | 6 mm: adjust, % |\n|---|---|---|---|---|---|---|---|\n")
	row := func(model, name string, e reached) {
		r := rand.New(rand.NewPCG(seed, streamRates))
		sd := differenceSD(e.people)
		matches, adjust := verdictRates(sd, r)
		panelMatches, panelAdjust := verdictRates(differenceSD(e.panel), r)
		fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %.2f / %.2f | %.0f (%.0f) | %.0f (%.0f) |\n", model, name, axes(e.worn), axes(e.panel), axes(e.people),
			sd[0], sd[1], 100*matches, 100*panelMatches, 100*adjust, 100*panelAdjust)
	}
	for m := range people[0].mark {
		for _, k := range []known{{"nothing", false, false}, {"other models", true, false}, {"bare ear", false, true}, {"both", true, true}} {
			row(string(rune('A'+m)), k.name, taught(people, panels, d, m, k, rand.New(rand.NewPCG(seed, uint64(m)))))
		}
	}
	n := float64(panelSize)
	drawn := math.Sqrt(square(d.BetweenSD)/n + square(d.WithinSD)/(n*float64(d.Seatings)))
	row("any", "every worn offset exactly", reached{people: [3]float64{drawn, drawn, 1.5 * drawn}})
	fmt.Fprintf(w, "\nDifference: of a fixture seating, its own error %.1f mm, to the people's mean; rates in brackets: to this panel's mean.\n", fixtureSD)
	return nil
}

// differenceSD is the standard error of the difference of a fixture seating to
// a mean known with these errors, forward and up, mm.
func differenceSD(mean [3]float64) [2]float64 {
	return [2]float64{math.Hypot(mean[0], fixtureSD), math.Hypot(mean[1], fixtureSD)}
}

func axes(v [3]float64) string { return fmt.Sprintf("%.2f / %.2f / %.2f", v[0], v[1], v[2]) }

// reached are RMS errors per axis: of a worn seating, and of the estimated
// worn mean against that of this panel's seatings and against the people's.
type reached struct{ worn, panel, people [3]float64 }

// taught fits by ridge regression and tests on the people left out.
func taught(people []person, panels []panel, d simulate.Design, model int, k known, r *rand.Rand) reached {
	var out reached
	var seatings, means float64
	size := len(people) / ceilingFolds / panelSize * panelSize
	for f := range ceilingFolds {
		low, high := f*size, (f+1)*size
		others := slices.Concat(people[:low], people[high:])
		one, all := teachSeating(others, model, k, r), teachPanel(others, d, model, k, r)
		for _, pn := range panels[low/panelSize : high/panelSize] {
			members := people[pn.first : pn.first+panelSize]
			w, bare := together(members, func(p person) worn { return p.panel })
			for range ceilingFixtures {
				j := low + r.IntN(size-panelSize)
				if j >= pn.first {
					j += panelSize
				}
				fixture := people[j]
				got := all(example(w.mean[model], w.mean, bare, fixture, model, k))
				for a := range 3 {
					out.panel[a] += square(got[a] - w.offset[model][a])
					out.people[a] += square(got[a] - pn.mean[model][a])
				}
				means++
				for _, p := range members {
					for s, x := range p.panel.seatings[model] {
						got := one(example(x, p.panel.mean, p.bare, fixture, model, k))
						for a := range 3 {
							out.worn[a] += square(got[a] - p.panel.truth[model][s][a])
						}
						seatings++
					}
				}
			}
		}
	}
	for a := range 3 {
		out.worn[a] = math.Sqrt(out.worn[a] / seatings)
		out.panel[a], out.people[a] = math.Sqrt(out.panel[a]/means), math.Sqrt(out.people[a]/means)
	}
	return out
}

func square(x float64) float64 { return x * x }

// teachSeating returns the rule for one seating of one person.
func teachSeating(people []person, model int, k known, r *rand.Rand) func([]float64) [3]float64 {
	var x [][]float64
	var y [][3]float64
	for i, p := range people {
		for range ceilingEach {
			j, s := r.IntN(len(people)), r.IntN(len(p.alone.seatings[model]))
			if j != i {
				x = append(x, example(p.alone.seatings[model][s], p.alone.mean, p.bare, people[j], model, k))
				y = append(y, p.alone.truth[model][s])
			}
		}
	}
	return ridge(x, y)
}

// teachPanel returns the rule for the mean of a panel. People who each have a
// people's mean of their own make panels whose means scatter too little; the
// rest of it is added to what the panel has in common, by the mean response.
func teachPanel(people []person, d simulate.Design, model int, k known, r *rand.Rand) func([]float64) [3]float64 {
	response := make([]func([3]float64) []float64, len(people[0].mark))
	for m := range response {
		response[m] = slopes(people, m)
	}
	sd := d.MeanSD * math.Sqrt(1-1/float64(panelSize))
	var x [][]float64
	var y [][3]float64
	members := make([]person, panelSize)
	for range ceilingTaught {
		chosen := map[int]bool{}
		pick := func() person {
			for {
				if i := r.IntN(len(people)); !chosen[i] {
					chosen[i] = true
					return people[i]
				}
			}
		}
		for i := range members {
			members[i] = pick()
		}
		w, bare := together(members, func(p person) worn { return p.alone })
		for m := range w.mean {
			by := [3]float64{sd * r.NormFloat64(), sd * r.NormFloat64(), sd * r.NormFloat64()}
			w.mean[m] = plus(w.mean[m], response[m](by))
			for a := range by {
				w.offset[m][a] += by[a]
			}
		}
		x = append(x, example(w.mean[model], w.mean, bare, pick(), model, k))
		y = append(y, w.offset[model])
	}
	return ridge(x, y)
}

const (
	fixtureSD   = 0.6   // mm per axis: error of a fixture seating's own offset
	toleranceMM = 3.0   // of the verdict
	oneSided    = 1.645 // normal quantile, 95 %
	rateDraws   = 100000
)

// verdictRates returns how often two one-sided tests at 95 % say matches of a
// seating exactly at the people's mean and adjust of one 6 mm off it, in a
// random direction, when the difference is known with these standard
// deviations (forward, up; mm) and they are known too.
func verdictRates(sd [2]float64, r *rand.Rand) (matches, adjust float64) {
	for range rateDraws {
		e := [2]float64{sd[0] * r.NormFloat64(), sd[1] * r.NormFloat64()}
		if dist, along := direction(e, sd); dist+oneSided*along <= toleranceMM {
			matches += 1.0 / rateDraws
		}
		sin, cos := math.Sincos(2 * math.Pi * r.Float64())
		if dist, along := direction([2]float64{6*cos + e[0], 6*sin + e[1]}, sd); dist-oneSided*along > toleranceMM {
			adjust += 1.0 / rateDraws
		}
	}
	return matches, adjust
}

// direction returns the length of v and the standard deviation along it.
func direction(v, sd [2]float64) (length, along float64) {
	length = math.Hypot(v[0], v[1])
	return length, math.Hypot(v[0]*sd[0], v[1]*sd[1]) / max(length, 1e-12)
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
