package standout

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"asworn/testdata/vectors"
)

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func list(t *testing.T, s string) []float64 {
	t.Helper()
	var out []float64
	for _, f := range strings.Fields(s) {
		out = append(out, number(t, f))
	}
	return out
}

// Tail probabilities against scipy.stats.f and scipy.integrate.quad
// (testdata/standout/make.py).
func TestVectorsTail(t *testing.T) {
	for _, row := range vectors.Rows(t, "standout", "tail.csv") {
		got := tail(number(t, row[3]), int(number(t, row[2])), list(t, row[1]))
		if want := number(t, row[4]); math.Abs(got-want) > 2e-6 {
			t.Errorf("%s, spectrum %s, n %s, F %s: %.3g, want %.3g", row[0], row[1], row[2], row[3], got, want)
		}
	}
}

// Measure and effective dimension against NumPy; the planted member is the one
// that scikit-learn's minimum covariance determinant puts farthest out.
func TestVectorsGroups(t *testing.T) {
	type group struct {
		x     [][]float64
		ratio []float64
		mcd   []float64
	}
	groups := map[string]*group{}
	for _, row := range vectors.Rows(t, "standout", "members.csv") {
		g := groups[row[0]]
		if g == nil {
			g = &group{}
			groups[row[0]] = g
		}
		g.ratio = append(g.ratio, number(t, row[2]))
		g.mcd = append(g.mcd, number(t, row[3]))
		g.x = append(g.x, list(t, row[5]))
	}
	for _, row := range vectors.Rows(t, "standout", "groups.csv") {
		g, planted := groups[row[0]], int(number(t, row[1]))
		if got, want := Dimension(g.x), number(t, row[2]); math.Abs(got-want) > 1e-9 {
			t.Errorf("group %s: dimension %g, want %g", row[0], got, want)
		}
		in := make([]bool, len(g.x))
		for i := range in {
			in[i] = true
		}
		far := 0
		for i := range g.x {
			if f, _ := ratio(g.x, in, i, 0); math.Abs(f/g.ratio[i]-1) > 1e-9 {
				t.Errorf("group %s member %d: F %g, want %g", row[0], i, f, g.ratio[i])
			}
			if g.mcd[i] > g.mcd[far] {
				far = i
			}
		}
		for i, m := range Test(g.x, 0, 0.05) {
			if m.Flagged != (i == planted) {
				t.Errorf("group %s member %d: flagged %v, planted %d (F %.1f, p %.3g)", row[0], i, m.Flagged, planted, m.Distance*m.Distance, m.P)
			}
		}
		if far != planted {
			t.Errorf("group %s: scikit-learn's farthest member is %d, planted %d", row[0], far, planted)
		}
	}
}
