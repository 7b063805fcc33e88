package effects

import (
	"asworn/fitcorr/stats"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Factor is L with Λ = LL'. Its columns are of (left + right)/√2 of ears, then of
// (left − right)/√2, then of all that is no ear; an ear's rows are zero in the last
// and the other rows zero in the first two. Products with it by these parts take a
// third of what the whole matrix would.
type Factor struct {
	Layout
	Whole     *mat.Dense // L itself
	sum, diff *mat.Dense // width·n rows: of (left ± right)/√2, channel by channel
	others    *mat.Dense // models·(block − 2n) rows: what stands behind the ears in each block
	Ears      [2]int     // columns of sum and of diff
}

func (l Layout) newFactor(whole, sum, diff *mat.Dense) Factor {
	_, cs := sum.Dims()
	_, cd := diff.Dims()
	f := Factor{Layout: l, Whole: whole, sum: sum, diff: diff, Ears: [2]int{cs, cd}}
	_, cols := whole.Dims()
	f.others = mat.NewDense(l.Models*l.behind(), cols-cs-cd, nil)
	for m := range l.Models {
		stats.RowsOfDense(f.others, m*l.behind(), l.behind()).Copy(whole.Slice(l.Position(m), l.Position(m)+l.behind(), cs+cd, cols))
	}
	return f
}

// behind is how many rows stand behind the ears in a model's block.
func (l Layout) behind() int { return l.Block() - 2*l.Bands.N }

// Cols is how many columns of L are of ears, and how many there are.
func (f Factor) Cols() (ears, all int) {
	_, all = f.Whole.Dims()
	return f.Ears[0] + f.Ears[1], all
}

// Transposed returns L'm. m has Dim rows, the result as many rows as L has columns.
func (f Factor) Transposed(m *mat.Dense) *mat.Dense {
	n, half := f.Bands.N, math.Sqrt(0.5)
	ears, all := f.Cols()
	_, cols := m.Dims()
	sum, diff := mat.NewDense(f.Width()*n, cols, nil), mat.NewDense(f.Width()*n, cols, nil)
	for k := range f.Width() {
		for r := range n {
			left, right := m.RawRowView(f.Channel(0, k)+r), m.RawRowView(f.Channel(1, k)+r)
			s, d := sum.RawRowView(k*n+r), diff.RawRowView(k*n+r)
			for c, v := range left {
				s[c], d[c] = half*(v+right[c]), half*(v-right[c])
			}
		}
	}
	others := mat.NewDense(f.Models*f.behind(), cols, nil)
	for k := range f.Models {
		stats.RowsOfDense(others, k*f.behind(), f.behind()).Copy(stats.RowsOfDense(m, f.Position(k), f.behind()))
	}
	out := mat.NewDense(all, cols, nil)
	stats.RowsOfDense(out, 0, f.Ears[0]).Mul(f.sum.T(), sum)
	stats.RowsOfDense(out, f.Ears[0], f.Ears[1]).Mul(f.diff.T(), diff)
	stats.RowsOfDense(out, ears, all-ears).Mul(f.others.T(), others)
	return out
}

// Times returns Lm. m has as many rows as L has columns, the result has Dim rows.
func (f Factor) Times(m *mat.Dense) *mat.Dense {
	n, half := f.Bands.N, math.Sqrt(0.5)
	ears, all := f.Cols()
	_, cols := m.Dims()
	var sum, diff, others mat.Dense
	sum.Mul(f.sum, stats.RowsOfDense(m, 0, f.Ears[0]))
	diff.Mul(f.diff, stats.RowsOfDense(m, f.Ears[0], f.Ears[1]))
	others.Mul(f.others, stats.RowsOfDense(m, ears, all-ears))
	out := mat.NewDense(f.Dim(), cols, nil)
	for k := range f.Width() {
		for r := range n {
			left, right := out.RawRowView(f.Channel(0, k)+r), out.RawRowView(f.Channel(1, k)+r)
			s, d := sum.RawRowView(k*n+r), diff.RawRowView(k*n+r)
			for c, v := range s {
				left[c], right[c] = half*(v+d[c]), half*(v-d[c])
			}
		}
	}
	for k := range f.Models {
		stats.RowsOfDense(out, f.Position(k), f.behind()).Copy(stats.RowsOfDense(&others, k*f.behind(), f.behind()))
	}
	return out
}
