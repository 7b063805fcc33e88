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

// Shape and its shrinkage against scikit-learn, prediction of each member against
// SciPy's multivariate t, marginal likelihood against its normal and
// inverse-Wishart densities (testdata/standout/make.py).
func TestVectorsLaw(t *testing.T) {
	rows := map[string][][]float64{}
	for _, row := range vectors.Rows(t, "standout", "members.csv") {
		rows[row[0]] = append(rows[row[0]], list(t, row[2]))
	}
	for _, row := range vectors.Rows(t, "standout", "shapes.csv") {
		others := [][][]float64{rows["0"], rows["1"], rows["2"]}
		got := shapeOf(others, int(number(t, row[0])))
		for k, want := range list(t, row[1]) {
			if p := got.SymmetricDim(); math.Abs(got.At(k/p, k%p)-want) > 1e-12 {
				t.Errorf("group %s, element %d of the shape: %.15g, want %.15g", row[0], k, got.At(k/p, k%p), want)
			}
		}
	}
	for _, row := range vectors.Rows(t, "standout", "laws.csv") {
		x := rows[row[0]]
		l := law{len(x[0]), number(t, row[1])}
		in := make([]bool, len(x))
		for i := range in {
			in[i] = true
		}
		for i, want := range list(t, row[2]) {
			// F by the density of the multivariate t: see make.py.
			if f, _ := l.predict(x, in, i, 0); math.Abs(f/want-1) > 1e-9 {
				t.Errorf("group %s, excess %s, member %d: F %.12g, want %.12g", row[0], row[1], i, f, want)
			}
		}
		for i, want := range list(t, row[3]) {
			if _, p := l.predict(x, in, i, 0); math.Abs(p/want-1) > 1e-5 {
				t.Errorf("group %s, excess %s, member %d: p %.12g, want %.12g", row[0], row[1], i, p, want)
			}
		}
		least := law{len(x[0]), excesses[0]}
		if got, want := l.logDensity(x, 0)-least.logDensity(x, 0), number(t, row[4]); math.Abs(got-want) > 1e-8 {
			t.Errorf("group %s, excess %s: log density %.10g over the least, want %.10g", row[0], row[1], got, want)
		}
	}
}
