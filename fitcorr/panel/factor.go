package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// factor is L with Λ = LL'. Its columns are of (left + right)/√2 of ears, then of
// (left − right)/√2, then of all that is no ear; an ear's rows are zero in the last
// and the other rows zero in the first two. Products with it by these parts take a
// third of what the whole matrix would.
type factor struct {
	layout
	whole     *mat.Dense // L itself
	sum, diff *mat.Dense // width·n rows: of (left ± right)/√2, channel by channel
	others    *mat.Dense // models·(block − 2n) rows: what stands behind the ears in each block
	ears      [2]int     // columns of sum and of diff
}

func (l layout) newFactor(whole, sum, diff *mat.Dense) factor {
	_, cs := sum.Dims()
	_, cd := diff.Dims()
	f := factor{layout: l, whole: whole, sum: sum, diff: diff, ears: [2]int{cs, cd}}
	_, cols := whole.Dims()
	f.others = mat.NewDense(l.models*l.behind(), cols-cs-cd, nil)
	for m := range l.models {
		rowsOf(f.others, m*l.behind(), l.behind()).Copy(whole.Slice(l.position(m), l.position(m)+l.behind(), cs+cd, cols))
	}
	return f
}

// behind is how many rows stand behind the ears in a model's block.
func (l layout) behind() int { return l.block() - 2*l.bands.N }

// cols is how many columns are of ears, and how many there are.
func (f factor) cols() (ears, all int) {
	_, all = f.whole.Dims()
	return f.ears[0] + f.ears[1], all
}

// transposed returns L'm.
func (f factor) transposed(m *mat.Dense) *mat.Dense {
	n, half := f.bands.N, math.Sqrt(0.5)
	ears, all := f.cols()
	_, cols := m.Dims()
	sum, diff := mat.NewDense(f.width()*n, cols, nil), mat.NewDense(f.width()*n, cols, nil)
	for k := range f.width() {
		for r := range n {
			left, right := m.RawRowView(f.channel(0, k)+r), m.RawRowView(f.channel(1, k)+r)
			s, d := sum.RawRowView(k*n+r), diff.RawRowView(k*n+r)
			for c, v := range left {
				s[c], d[c] = half*(v+right[c]), half*(v-right[c])
			}
		}
	}
	others := mat.NewDense(f.models*f.behind(), cols, nil)
	for k := range f.models {
		rowsOf(others, k*f.behind(), f.behind()).Copy(rowsOf(m, f.position(k), f.behind()))
	}
	out := mat.NewDense(all, cols, nil)
	rowsOf(out, 0, f.ears[0]).Mul(f.sum.T(), sum)
	rowsOf(out, f.ears[0], f.ears[1]).Mul(f.diff.T(), diff)
	rowsOf(out, ears, all-ears).Mul(f.others.T(), others)
	return out
}

// times returns Lm.
func (f factor) times(m *mat.Dense) *mat.Dense {
	n, half := f.bands.N, math.Sqrt(0.5)
	ears, all := f.cols()
	_, cols := m.Dims()
	var sum, diff, others mat.Dense
	sum.Mul(f.sum, rowsOf(m, 0, f.ears[0]))
	diff.Mul(f.diff, rowsOf(m, f.ears[0], f.ears[1]))
	others.Mul(f.others, rowsOf(m, ears, all-ears))
	out := mat.NewDense(f.dim(), cols, nil)
	for k := range f.width() {
		for r := range n {
			left, right := out.RawRowView(f.channel(0, k)+r), out.RawRowView(f.channel(1, k)+r)
			s, d := sum.RawRowView(k*n+r), diff.RawRowView(k*n+r)
			for c, v := range s {
				left[c], right[c] = half*(v+d[c]), half*(v-d[c])
			}
		}
	}
	for k := range f.models {
		rowsOf(out, f.position(k), f.behind()).Copy(rowsOf(&others, k*f.behind(), f.behind()))
	}
	return out
}

// rowsOf is the view of so many rows of m.
func rowsOf(m *mat.Dense, from, count int) *mat.Dense {
	_, cols := m.Dims()
	return m.Slice(from, from+count, 0, cols).(*mat.Dense)
}

// timesLower returns m·l of a lower triangular square l.
func timesLower(m, l *mat.Dense) *mat.Dense {
	const step = 64
	rows, n := m.Dims()
	out := mat.NewDense(rows, n, nil)
	for from := 0; from < n; from += step {
		to := min(from+step, n)
		out.Slice(0, rows, from, to).(*mat.Dense).Mul(m.Slice(0, rows, from, n), l.Slice(from, n, from, to))
	}
	return out
}
