package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/testdata/vectors"
)

// Quantiles of gonum against scipy.stats. gonum finds those of Student's t by
// steps that end at a relative 1e-8.
func TestQuantileVectors(t *testing.T) {
	laws := vectors.Rows(t, "offset", "quantiles.csv")
	for i, v := range vectors.Numbers(t, "offset", "quantiles.csv") {
		p, n, m, want := v[1], v[2], v[3], v[4]
		var got float64
		within := 1e-9
		switch laws[i][0] {
		case "t":
			got, within = distuv.StudentsT{Sigma: 1, Nu: n}.Quantile(p), 1e-8
		case "chi2":
			got = distuv.ChiSquared{K: n}.Quantile(p)
		case "f":
			got = distuv.F{D1: n, D2: m}.Quantile(p)
		default:
			t.Fatalf("law %q", laws[i][0])
		}
		if math.Abs(got-want) > within*math.Max(1, math.Abs(want)) {
			t.Errorf("%s p %g df %g %g: %.15g, want %.15g", laws[i][0], p, n, m, got, want)
		}
	}
}

// The weight of a target against sklearn.covariance.ledoit_wolf, whose target
// is the mean variance times the unit matrix.
func TestShrinkVectors(t *testing.T) {
	draws := map[float64][][]float64{}
	for _, v := range vectors.Numbers(t, "offset", "shrink_x.csv") {
		draws[v[0]] = append(draws[v[0]], v[1:])
	}
	for _, c := range vectors.Numbers(t, "offset", "shrink.csv") {
		n, p, want := int(c[1]), int(c[2]), c[3]
		x := mat.NewDense(n, p, nil)
		var trace float64
		for i, row := range draws[c[0]] {
			x.SetRow(i, row[:p])
			for _, a := range row {
				trace += a * a / float64(n*p)
			}
		}
		target := mat.NewSymDense(p, nil)
		for i := range p {
			target.SetSym(i, i, trace)
		}
		if got := ShrinkWeight(x, target, 1); math.Abs(got-want) > 1e-9 {
			t.Errorf("case %g: weight %.12f, want %.12f", c[0], got, want)
		}
	}
}
