// Package standout names the members of a small group that differ from the
// rest more than the rest differ among themselves, with many more bands than
// members.
//
// The measure of member i is the squared distance from the mean of the others
// over the mean squared distance of the others from their mean,
//
//	F_i = |x_i − m|²/(1 + 1/(n−1)) / ( Σ_j |x_j − m|²/(n−2) ),
//
// on bands that were brought to comparable scatter. It needs no inverse of a
// covariance matrix, which a handful of members in many bands cannot give.
// Were the scatter equal and independent in p dimensions, F_i would be exactly
// F(p, p(n−2)) distributed. Real scatter lies along few directions; what
// matters of its covariance Σ is the effective dimension
// d = (tr Σ)²/tr(Σ²) (Box, Ann. Math. Stat. 25(2), 1954), estimated without
// bias from the traces of the sample covariance (Srivastava, J. Japan Stat.
// Soc. 35(2), 2005). The tail probability is that of a Gaussian with variances
// falling geometrically at the same d, by Imhof's method.
//
// Several members at once are found by the generalised extreme Studentised
// deviate (Rosner, Technometrics 25(2), 1983): worst first, so that two alike
// do not hide each other.
package standout

import (
	"math"
	"slices"
)

// Member is the finding about one member of a group.
type Member struct {
	Distance float64 // √F: deviation in units of the group's own scatter
	P        float64 // tail probability, corrected for the number of members
	Flagged  bool
	Delta    []float64 // member minus the mean of the others not flagged
}

// Test tests every member of a group. x holds one row of levels per member,
// already scaled; noise is the variance of a row that measurement noise alone
// gives, summed over its columns, the least that the others are taken to
// scatter; size the probability of flagging anything in a group without
// stand-outs. like are further groups of rows with the same nature of scatter
// (the other ear, other subjects); together with the members not under test
// they give the effective dimension. Test needs four members or more and
// returns nil below.
func Test(x [][]float64, noise, size float64, like ...[][]float64) []Member {
	n := len(x)
	if n < 4 {
		return nil
	}
	in := make([]bool, n) // not removed
	for i := range in {
		in[i] = true
	}
	// Remove the worst, one after the other, up to a third of the group. Every
	// further step is one more chance of a false alarm and gets half the size.
	var removed []int
	flagged := 0
	steps := min(max(n/3, 1), n-3)
	for range steps {
		worst, far := -1, -1.0
		for i := range n {
			if in[i] {
				if f, _ := ratio(x, in, i, noise); f > far {
					worst, far = i, f
				}
			}
		}
		removed = append(removed, worst)
		if chance(x, in, worst, far, steps, like) < size/math.Pow(2, float64(len(removed)-1)) {
			flagged = len(removed)
		}
		in[worst] = false
	}
	for i := range in {
		in[i] = true
	}
	for _, i := range removed[:flagged] {
		in[i] = false
	}
	out := make([]Member, n)
	for i := range n {
		was := in[i]
		in[i] = true // the measure is against the others
		f, delta := ratio(x, in, i, noise)
		p := chance(x, in, i, f, steps, like)
		in[i] = was
		out[i] = Member{math.Sqrt(f), p, !was && p < size, delta}
	}
	return out
}

// The calibration in chance, found by simulation (docs/developing/standouts.md): with it
// the test keeps its size for scatter along one, two, a few or many directions.
const (
	trust    = 0.8
	wariness = 5
)

// chance returns the probability that any member of the group is as far out as
// f, the measure of member i among the members that are in. The effective
// dimension is learnt from those members, i left out, and from like.
// Learnt from m degrees of freedom it is uncertain, and the true tail is
// heavier than at the estimate: the probability is raised to the power
// 0.8·m/(m + 5). No scatter has a heavier tail than that along one direction,
// whose probability, times the chances that all steps of the search add up to,
// is therefore the most that it can be.
func chance(x [][]float64, in []bool, i int, f float64, steps int, like [][][]float64) float64 {
	var rest [][]float64
	for j := range x {
		if in[j] && j != i {
			rest = append(rest, x[j])
		}
	}
	n := len(rest) + 1
	groups := append([][][]float64{rest}, like...)
	p := math.Min(1, float64(n)*tail(f, n, geometric(Dimension(groups...), len(x[0]))))
	chances := 2 - math.Pow(2, 1-float64(steps))
	most := math.Min(1, chances*float64(n)*tail(f, n, geometric(1, 1)))
	m := 0.0
	for _, g := range groups {
		m += math.Max(0, float64(len(g)-1))
	}
	return math.Min(most, math.Pow(p, trust*m/(m+wariness)))
}

// ratio returns F of member i against the other members that are in, and its
// difference from their mean.
func ratio(x [][]float64, in []bool, i int, noise float64) (float64, []float64) {
	delta := make([]float64, len(x[i]))
	others := 0.0
	for j := range x {
		if in[j] && j != i {
			others++
			for k, v := range x[j] {
				delta[k] += v
			}
		}
	}
	own, rest := 0.0, 0.0
	for k := range delta {
		m := delta[k] / others
		for j := range x {
			if in[j] && j != i {
				rest += (x[j][k] - m) * (x[j][k] - m)
			}
		}
		delta[k] = x[i][k] - m
		own += delta[k] * delta[k]
	}
	rest = math.Max(rest/(others-1), noise)
	own /= 1 + 1/others
	if rest == 0 {
		if own == 0 {
			return 0, delta
		}
		return math.Inf(1), delta
	}
	return own / rest, delta
}

// tail returns P(F > f) for one member of n, with the given variances of the
// scatter along its principal directions.
func tail(f float64, n int, spectrum []float64) float64 {
	if math.IsInf(f, 1) {
		return 0
	}
	lambda := make([]float64, 0, 2*len(spectrum))
	h := make([]float64, 0, 2*len(spectrum))
	for _, s := range spectrum {
		lambda = append(lambda, s, -s*f/float64(n-2))
		h = append(h, 1, float64(n-2))
	}
	return positiveTail(lambda, h)
}

// geometric returns up to most variances falling by a constant factor whose
// effective dimension is dim: Σλ = 1/(1−r) and Σλ² = 1/(1−r²) give
// d = (1+r)/(1−r) for the endless series.
func geometric(dim float64, most int) []float64 {
	dim = math.Max(dim, 1)
	r := (dim - 1) / (dim + 1)
	var out []float64
	for v := 1.0; len(out) < most && v > 5e-3; v *= r {
		out = append(out, v)
	}
	return out
}

// Dimension estimates the effective dimension (tr Σ)²/tr(Σ²) that groups of
// scaled rows have in common. Groups of fewer than four members say nothing. A
// group that scatters more than the median group is scaled down to it in
// effect, so that one with stand-outs does not decide for all. The result is
// at least 1 and at most the number of columns.
func Dimension(groups ...[][]float64) float64 {
	type traces struct{ m, one, two float64 } // degrees of freedom, tr S, tr S²
	var all []traces
	var ones []float64
	columns := 1
	for _, x := range groups {
		if len(x) < 4 {
			continue
		}
		columns = len(x[0])
		t := traces{m: float64(len(x) - 1)}
		// tr S² is the squared norm of the Gram matrix of the centred rows.
		g := gram(x)
		for i := range g {
			t.one += g[i][i] / t.m
			for j := range g {
				t.two += g[i][j] * g[i][j] / (t.m * t.m)
			}
		}
		all, ones = append(all, t), append(ones, t.one)
	}
	if len(all) == 0 {
		return 1 // nothing known: the most cautious
	}
	slices.Sort(ones)
	middle := ones[len(ones)/2]
	var square, second float64 // of (tr Σ)² and tr(Σ²), unbiased for Gaussian rows
	for _, t := range all {
		if t.one == 0 {
			continue
		}
		scale := math.Max(t.one, middle)
		s2 := (t.two - t.one*t.one/t.m) * t.m * t.m / ((t.m - 1) * (t.m + 2))
		second += t.m * s2 / (scale * scale)
		square += t.m * (t.one*t.one - 2*s2/t.m) / (scale * scale)
	}
	if second <= 0 {
		return float64(columns)
	}
	return math.Min(math.Max(square/second, 1), float64(columns))
}

// gram returns the inner products of the centred rows.
func gram(x [][]float64) [][]float64 {
	n, p := len(x), len(x[0])
	mean := make([]float64, p)
	for _, row := range x {
		for k, v := range row {
			mean[k] += v / float64(n)
		}
	}
	g := make([][]float64, n)
	for i := range g {
		g[i] = make([]float64, n)
		for j := range i + 1 {
			sum := 0.0
			for k := range p {
				sum += (x[i][k] - mean[k]) * (x[j][k] - mean[k])
			}
			g[i][j], g[j][i] = sum, sum
		}
	}
	return g
}
