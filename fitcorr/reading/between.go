package reading

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/study"
	"asworn/fitcorr/stats"
)

// Readers need not have read the same placement to be compared: one listener puts one model
// on much the same every time, so that seatings of which one was read by one person and another
// by another tell their biases as well, as far as seatings scatter.
const (
	// withinMM is the standard deviation of a listener's seatings about their mean, per axis, as
	// it is assumed with withinDF degrees of freedom before seatings are compared (as the panel has it).
	withinMM, withinDF = 1.5, 8
)

// wearer is a listener with a model: whose placements are alike.
type wearer struct{ head, model string }

// gatherWearers gathers the readings of each, seating by seating; the fixture's seatings, which are put
// where somebody wants them, are none.
func (f *fit) gatherWearers() (out [][]int) {
	at := map[wearer]int{}
	for i, r := range f.rs {
		if r.OnFixture() {
			continue
		}
		w := wearer{r.Subject, r.Model}
		if _, ok := at[w]; !ok {
			at[w] = len(out)
			out = append(out, nil)
		}
		out[at[w]] = append(out[at[w]], i)
	}
	for _, rows := range out {
		slices.SortStableFunc(rows, func(i, j int) int { return cmp.Compare(f.rs[i].Number, f.rs[j].Number) })
	}
	return out
}

// compareWearer adds to the normal equations of the biases what the readings of one
// wearer say: r = mean of that side + seating + bias + error, the seatings normal with
// variance within². All is in units of one reading's precision.
func (f *fit) compareWearer(rows []int, info *mat.SymDense, rhs *[Axes]*mat.VecDense) {
	// Y'V⁻¹Y for the columns readers, sides and what was read. V of one seating is
	// diagonal but for what its readings share, so that its inverse needs only sums.
	readers := len(f.names)
	sides := readers
	read := sides + int(study.RightSide) + 1
	g := mat.NewSymDense(read+Axes, nil)
	row, seating, sum := mat.NewVecDense(read+Axes, nil), mat.NewVecDense(read+Axes, nil), 0.0
	done := func() {
		if sum > 0 {
			share := f.within2 / f.scale2
			g.SymRankOne(g, -share/(1+share*sum), seating)
		}
		seating.Zero()
		sum = 0
	}
	for k, i := range rows {
		r, w := f.rs[i], f.weight[i]
		if k > 0 && r.Number != f.rs[rows[k-1]].Number {
			done()
		}
		row.Zero()
		row.SetVec(f.reader[i], 1)
		row.SetVec(sides+int(r.Side), 1)
		for a, v := range vector(r) {
			row.SetVec(read+a, v)
		}
		g.SymRankOne(g, w, row)
		seating.AddScaledVec(seating, w, row)
		sum += w
	}
	done()
	column := mat.NewVecDense(read+Axes, nil)
	for s := sides; s < read; s++ { // the sides' means are free
		if pivot := g.At(s, s); pivot > 1e-12 {
			for i := range column.Len() {
				column.SetVec(i, g.At(i, s))
			}
			g.SymRankOne(g, -1/pivot, column)
		}
	}
	for k := range readers {
		for l := k; l < readers; l++ {
			stats.AddSym(info, k, l, g.At(k, l))
		}
		for a := range Axes {
			rhs[a].SetVec(k, rhs[a].AtVec(k)+g.At(k, read+a))
		}
	}
}

// spreadWithin learns within² from the placements of all wearers, the biases and what readings
// err by taken off.
func (f *fit) spreadWithin() {
	sum, df := withinDF*withinMM*withinMM, float64(withinDF)
	for _, rows := range f.wearers {
		var mm [][Axes]float64 // of each seating
		var n []float64
		for k, i := range rows {
			if k == 0 || f.rs[i].Number != f.rs[rows[k-1]].Number {
				mm, n = append(mm, [Axes]float64{}), append(n, 0)
			}
			last := len(n) - 1
			n[last] += f.weight[i]
			for a := range Axes {
				mm[last][a] += f.weight[i] * (vector(f.rs[i])[a] - f.beta[f.reader[i]][a])
			}
		}
		k := float64(len(n))
		for a := range Axes {
			var mean float64
			for p := range n {
				mm[p][a] /= n[p]
				mean += mm[p][a] / k
			}
			for p := range n {
				d := mm[p][a] - mean
				sum += d*d - (1-1/k)*f.scale2/n[p]
			}
		}
		df += Axes * (k - 1)
	}
	f.within2 = math.Max(sum/df, withinMM*withinMM/4)
}
