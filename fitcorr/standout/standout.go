// Package standout names the members of a small group that differ from the
// rest more than the rest differ among themselves. A handful of members does not
// tell how a group scatters; the other groups on the same subject do, as far as
// they scatter alike, which they show themselves.
//
// Rows x of group g are normal with mean μ_g and covariance s_g²·Ω_g; Ω_g is
// inverse-Wishart about a shape Ψ, with as many degrees of freedom ν as make the
// groups most probable (law). Given the others of its group a member is then
// multivariate t distributed (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013,
// section 3.6), and its squared Mahalanobis distance over the number of columns p
// is F distributed: with p and the degrees of freedom that ν, the members and the
// scale s_g leave.
//
// Several members at once are found by the generalised extreme Studentised
// deviate (Rosner, Technometrics 25(2), 1983): worst first, so that two alike
// do not hide each other.
package standout

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Member is the finding about one member of a group.
type Member struct {
	Distance float64   // √F: deviation in units of the scatter that the others predict, a ratio
	P        float64   // tail probability, corrected for the number of members
	Flagged  bool      // unlike the others, at the size of the test
	Delta    []float64 // member minus the mean of the others not flagged, per column
}

// fewest members make a group that can be tested, and one that teaches a law.
const fewest = 4

// Test tests every member of every group. groups hold one row per member, all of
// the same columns, already scaled to comparable scatter; they are taken to
// scatter alike, as far as they show it. noise is per group the variance of a row
// that measurement noise alone gives, mean over its columns: the least that its
// members are taken to scatter. size is the probability of flagging anything in
// a group without stand-outs. The result has nil for a group of fewer than four.
func Test(groups [][][]float64, noise []float64, size float64) [][]Member {
	out := make([][]Member, len(groups))
	white, l := learn(groups, noise)
	for g, x := range groups {
		if len(x) >= fewest {
			out[g] = testGroup(l, x, white[g], noise[g], size)
		}
	}
	return out
}

// testGroup tests one group of rows; white are the same for the law.
func testGroup(l law, rows, x [][]float64, noise, size float64) []Member {
	n := len(x)
	in := make([]bool, n) // not removed
	for i := range in {
		in[i] = true
	}
	// Remove the worst, one after the other, up to a third of the group. Every
	// further step is one more chance of a false alarm: the first has three
	// quarters of the size, each later one a quarter of the one before.
	var removed []int
	flagged := 0
	for step := range min(max(n/3, 1), n-3) {
		worst, least, far := -1, 0.0, 0.0
		for i := range n {
			if !in[i] {
				continue
			}
			f, p := l.predict(x, in, i, noise)
			if worst < 0 || p < least || p == least && f > far {
				worst, least, far = i, p, f
			}
		}
		removed = append(removed, worst)
		if least*float64(n-step) < size*0.75*math.Pow(0.25, float64(step)) {
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
		members := 0
		for _, v := range in {
			if v {
				members++
			}
		}
		f, p := l.predict(x, in, i, noise)
		mean, _ := centred(rows, in, i)
		in[i] = was
		delta := append([]float64(nil), rows[i]...)
		floats.Sub(delta, mean)
		out[i] = Member{math.Sqrt(f), math.Min(1, p*float64(members)), !was, delta}
	}
	return out
}
