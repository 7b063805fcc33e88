package plan

import (
	"hash/fnv"
	"math/rand/v2"
	"slices"

	"asworn/capture"
)

// Redrawn returns the rows of one listener in an order of another listener's own, as
// [Design.Rows] draws one for each: the models of each round, and the displacements of
// each model among the numbers that stand for them, so that no order is that of two
// listeners and can be mistaken for what they differ by. A bare ear stays where it is. The
// draw follows from the rows, whose order is the plan's seed, and from the id alone.
func Redrawn(rows []capture.Seating, id string) []capture.Seating {
	out := slices.Clone(rows)
	type block struct {
		model, unit string // of displaced rows
		point       capture.Point
		number      int // of the others
	}
	blocks := map[block][]int{}
	var order []block
	drawnAs := fnv.New64a()
	for i, r := range rows {
		_, _ = drawnAs.Write([]byte(r.File + "\n")) // which never fails
		if r.BareEar() {
			continue
		}
		b := block{number: r.Number}
		if r.Displaced() {
			b = block{r.Model, r.Unit, r.Point, 0}
		}
		if blocks[b] == nil {
			order = append(order, b)
		}
		blocks[b] = append(blocks[b], i)
	}
	_, _ = drawnAs.Write([]byte(id))
	rng := rand.New(rand.NewPCG(drawnAs.Sum64(), 0x73656174)) // "seat", as in Rows
	for _, b := range order {
		at := blocks[b]
		rng.Shuffle(len(at), func(i, j int) {
			x, y := &out[at[i]], &out[at[j]]
			if b.number == 0 { // numbers count up
				x.Survey, y.Survey = y.Survey, x.Survey
			} else {
				*x, *y = *y, *x
			}
		})
	}
	return out
}
