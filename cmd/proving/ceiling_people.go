package main

import (
	"context"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// worn is how somebody, or a panel on average, wears every model.
type worn struct {
	seatings [][][]float64  // model, seating, feature
	truth    [][][3]float64 // model, seating: the headset's offset
	mean     [][]float64    // model, feature: mean of the seatings
	offset   [][3]float64   // model: mean of the truth
}

// person is one ear pair, wearing every model twice: alone, where everybody
// has a people's mean of their own, and in a panel, where all share it.
type person struct {
	alone, panel worn
	mark         [][]float64 // model: placed at the mark, as if this were the fixture
	bare         []float64
}

// panel is panelSize consecutive people, as a study has them.
type panel struct {
	first int
	mean  [][3]float64 // model: the people's mean they were drawn from
}

// teachable draws people and measures them.
func teachable(ctx context.Context, world simulate.World, d simulate.Design, seed uint64, jobs int) ([]person, []panel, error) {
	sd := d.MeanSD
	d.Listeners, d.SurveySize, d.FixtureSeatings, d.LeakChance, d.BareEar = ceilingPeople, 0, 0, 0, true
	d.MeanSD, d.DisplacedListeners = 0, 0
	s := simulate.Draw(seed, d, world)
	r := rand.New(rand.NewPCG(seed, streamMeans))
	means := func(n int) [][][3]float64 { // group, model
		out := make([][][3]float64, n)
		for i := range out {
			for range s.Models {
				out[i] = append(out[i], [3]float64{sd * r.NormFloat64(), sd * r.NormFloat64(), sd * r.NormFloat64()})
			}
		}
		return out
	}
	own, shared := means(d.Listeners), means(d.Listeners/panelSize)
	var panels []panel
	for i := range shared {
		panels = append(panels, panel{i * panelSize, shared[i]})
	}
	var alone, grouped, marks, bare []simulate.Row
	for _, row := range s.Rows {
		switch i := row.SubjectIndex; {
		case i >= d.Listeners: // the fixture
		case row.ModelIndex < 0:
			bare = append(bare, row)
		default:
			alone = append(alone, moved(row, own[i][row.ModelIndex]))
			grouped = append(grouped, moved(row, shared[i/panelSize][row.ModelIndex]))
		}
	}
	for m := range s.Models {
		for i := range d.Listeners {
			row := simulate.Row{ModelIndex: m, SubjectIndex: i}
			row.Model, row.Point = s.Models[m], capture.Blocked
			marks = append(marks, row)
		}
	}
	people := make([]person, d.Listeners)
	n := len(s.Models)
	for i := range people {
		people[i] = person{alone: newWorn(n), panel: newWorn(n), mark: make([][]float64, n)}
	}
	for k, set := range []struct {
		rows []simulate.Row
		take func(p *person, r simulate.Row, x []float64)
	}{
		{alone, func(p *person, r simulate.Row, x []float64) { p.alone.add(r, x) }},
		{grouped, func(p *person, r simulate.Row, x []float64) { p.panel.add(r, x) }},
		{marks, func(p *person, r simulate.Row, x []float64) { p.mark[r.ModelIndex] = x }},
		{bare, func(p *person, r simulate.Row, x []float64) { p.bare = x }},
	} {
		s.Rows = set.rows
		measured, err := s.Seatings(ctx, seed+uint64(k), jobs) // other noise for each set
		if err != nil {
			return nil, nil, err
		}
		for j, row := range set.rows {
			set.take(&people[row.SubjectIndex], row, features(measured[j].Ears[0].LevelDB, measured[j].Ears[1].LevelDB))
		}
	}
	for i := range people {
		people[i].alone.settle()
		people[i].panel.settle()
	}
	return people, panels, nil
}

// moved returns the row with both cups displaced.
func moved(r simulate.Row, by [3]float64) simulate.Row {
	for e := range r.True {
		r.True[e].ForwardMM += by[0]
		r.True[e].UpMM += by[1]
		r.True[e].RotationDeg += by[2]
	}
	return r
}

func newWorn(models int) worn {
	return worn{seatings: make([][][]float64, models), truth: make([][][3]float64, models)}
}

func (w *worn) add(r simulate.Row, x []float64) {
	m := r.ModelIndex
	w.seatings[m] = append(w.seatings[m], x)
	w.truth[m] = append(w.truth[m], r.Headset())
}

// settle computes the means.
func (w *worn) settle() {
	for m := range w.seatings {
		w.mean = append(w.mean, average(w.seatings[m]))
		w.offset = append(w.offset, average3(w.truth[m]))
	}
}

// together returns the means over people of what one of them, in the way that
// how chooses, has on every model and at the bare ear.
func together(people []person, how func(person) worn) (w worn, bare []float64) {
	bares := make([][]float64, len(people))
	for i, p := range people {
		bares[i] = p.bare
	}
	for m := range people[0].mark {
		xs, offsets := make([][]float64, len(people)), make([][3]float64, len(people))
		for i, p := range people {
			xs[i], offsets[i] = how(p).mean[m], how(p).offset[m]
		}
		w.mean, w.offset = append(w.mean, average(xs)), append(w.offset, average3(offsets))
	}
	return w, average(bares)
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

// slopes returns the mean change of every feature of a model per unit of
// offset, by least squares over the seatings of people who wear it alone.
func slopes(people []person, model int) func(offset [3]float64) []float64 {
	var x, y []float64
	for _, p := range people {
		for s, t := range p.alone.truth[model] {
			x = append(x, 1, t[0], t[1], t[2])
			y = append(y, p.alone.seatings[model][s]...)
		}
	}
	n := len(x) / 4
	var beta mat.Dense
	if err := beta.Solve(mat.NewDense(n, 4, x), mat.NewDense(n, len(y)/n, y)); err != nil {
		panic(err) // offsets of hundreds of people are not collinear
	}
	return func(offset [3]float64) []float64 {
		out := make([]float64, len(y)/n)
		for j := range out {
			for a, d := range offset {
				out[j] += d * beta.At(1+a, j)
			}
		}
		return out
	}
}

func plus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] + b[i]
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

func average3(v [][3]float64) [3]float64 {
	var out [3]float64
	for _, x := range v {
		for a := range out {
			out[a] += x[a] / float64(len(v))
		}
	}
	return out
}
