package standout

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/order"
	"asworn/fitcorr/seat"
)

// bandRange is a range of kept bands that is judged on its own, in columns of
// about an octave: what leaks and movements do is as wide, and a handful of
// members cannot tell more columns apart.
type bandRange struct {
	index    int
	name     Band
	from, to int // kept bands
	columns  int
}

// ranges: the seal owns the low end, position the upper. Between 282 Hz and
// 562 Hz neither does; above 17.8 kHz hardly any microphone is repeatable.
var ranges = []bandRange{
	{0, Low, band.Fraction / 6, 12 * band.Fraction / 3, 3},       // 20 Hz to 282 Hz
	{1, High, 15 * band.Fraction / 3, 30 * band.Fraction / 3, 5}, // 562 Hz to 17.8 kHz
}

// bounds returns the kept bands of column k.
func (r bandRange) bounds(k int) (from, to int) {
	n := r.to - r.from
	return r.from + k*n/r.columns, r.from + (k+1)*n/r.columns
}

// columns is one ear of one group in one range: a row of levels (dB) per member.
type columns struct {
	group *group
	ear   capture.Ear
	rows  [][]float64 // NaN in a column in which too few bands count
	noise []float64   // dB² per column, mean over members: from measurement noise
	who   []int       // place in the group of each row
}

// columnsOf joins kept bands to columns. A member without two thirds of its
// bands is left out, lest it cost the others theirs; of the rest the bands that
// count for all are joined, and a column of less than half of them is NaN.
func columnsOf(g *group, ear capture.Ear, r bandRange) columns {
	c := columns{group: g, ear: ear, noise: make([]float64, r.columns)}
	for i, s := range g.members {
		valid := 0
		for b := r.from; b < r.to; b++ {
			if s.Ears[ear].Counts(b) {
				valid++
			}
		}
		if 3*valid >= 2*(r.to-r.from) {
			c.who = append(c.who, i)
		}
	}
	use := make([]bool, r.to)
	for b := r.from; b < r.to; b++ {
		use[b] = true
		for _, i := range c.who {
			use[b] = use[b] && g.members[i].Ears[ear].Counts(b)
		}
	}
	for _, i := range c.who {
		row := make([]float64, r.columns)
		for k := range row {
			var variance float64
			row[k], variance = join(g.members[i].Ears[ear], use, r, k)
			c.noise[k] += variance / float64(len(c.who))
		}
		c.rows = append(c.rows, row)
	}
	return c
}

// join is the mean level of the bands in use of one column and its variance from
// measurement noise.
func join(curve seat.Curve, use []bool, r bandRange, k int) (level, variance float64) {
	from, to := r.bounds(k)
	n := 0.0
	for b := from; b < to; b++ {
		if use[b] {
			level += curve.LevelDB[b]
			variance += curve.StdErrDB[b] * curve.StdErrDB[b]
			n++
		}
	}
	if 2*n < float64(to-from) {
		return math.NaN(), 0
	}
	return level / n, variance / (n * n)
}

// comparable leaves out sets without two thirds of the columns, and of the
// others the columns that some of them lack. hz is the middle of each column left.
func comparable(sets []columns, r bandRange) (out []columns, hz []float64) {
	lacks := make([]bool, r.columns)
	for _, c := range sets {
		n := 0
		for _, v := range c.rows[0] {
			if !math.IsNaN(v) {
				n++
			}
		}
		if 3*n < 2*r.columns {
			continue
		}
		out = append(out, c)
		for k, v := range c.rows[0] { // as in all rows of the set
			lacks[k] = lacks[k] || math.IsNaN(v)
		}
	}
	if len(out) == 0 {
		return nil, nil
	}
	all := band.All()
	for k, lack := range lacks {
		if from, to := r.bounds(k); !lack {
			hz = append(hz, math.Sqrt(all[from].Lower*all[to-1].Upper))
		}
	}
	keep := func(v []float64) []float64 {
		var kept []float64
		for k, x := range v {
			if !lacks[k] {
				kept = append(kept, x)
			}
		}
		return kept
	}
	for i := range out {
		out[i].noise = keep(out[i].noise)
		for j := range out[i].rows {
			out[i].rows[j] = keep(out[i].rows[j])
		}
	}
	return out, hz
}

// columnScale returns a robust spread per column, in dB: the median over all
// members of the absolute deviation from their own group's median, drawn towards
// its trend over frequency (a power law) the more, the fewer members there are.
// Scales that followed every column would favour the member that happens to agree
// least where the others happen to agree most.
func columnScale(rows [][][]float64) []float64 {
	const least, caution = 0.02, 5 // dB; members
	n := len(rows[0][0])
	x, y := make([]float64, n), make([]float64, n)
	free := 0.0
	for _, g := range rows {
		free += float64(len(g) - 1)
	}
	for k := range n {
		var dev []float64
		for _, g := range rows {
			var col []float64
			for _, row := range g {
				col = append(col, row[k])
			}
			m := order.Median(col)
			for _, v := range col {
				dev = append(dev, math.Abs(v-m))
			}
		}
		x[k], y[k] = float64(k), math.Log(math.Max(1.4826*order.Median(dev), least))
	}
	out := make([]float64, n)
	level, slope := stat.LinearRegression(x, y, nil, n < 2)
	follow := free / (free + caution)
	for k := range out {
		trend := level + slope*x[k]
		out[k] = math.Exp(trend + follow*(y[k]-trend))
	}
	return out
}
