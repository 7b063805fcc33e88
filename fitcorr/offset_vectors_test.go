package fitcorr

import (
	"math"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/capture/band"
	"asworn/testdata/vectors"
)

// numbers reads a vector file; text becomes NaN.
func numbers(t *testing.T, name string) [][]float64 {
	var out [][]float64
	for _, row := range vectors.Rows(t, "offset", name) {
		v := make([]float64, len(row))
		for i, s := range row {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				x = math.NaN()
			}
			v[i] = x
		}
		out = append(out, v)
	}
	if len(out) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return out
}

// Quantiles of gonum against scipy.stats. gonum finds those of Student's t by
// steps that end at a relative 1e-8.
func TestQuantileVectors(t *testing.T) {
	laws := vectors.Rows(t, "offset", "quantiles.csv")
	for i, v := range numbers(t, "quantiles.csv") {
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
	for _, v := range numbers(t, "shrink_x.csv") {
		draws[v[0]] = append(draws[v[0]], v[1:])
	}
	for _, c := range numbers(t, "shrink.csv") {
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
		if got := shrinkWeight(x, target, 1); math.Abs(got-want) > 1e-9 {
			t.Errorf("case %g: weight %.12f, want %.12f", c[0], got, want)
		}
	}
}

// The surface of a survey against sklearn.gaussian_process.
func TestSurfaceVectors(t *testing.T) {
	rows := numbers(t, "surface_rows.csv")
	at := make([][3]float64, len(rows))
	y := make([]float64, len(rows))
	var mean float64
	for i, r := range rows {
		at[i] = [3]float64(r[:3])
		y[i] = r[3]
		mean += r[3] / float64(len(rows))
	}
	slip := make([]float64, len(rows))
	for i := range slip {
		slip[i] = 1
	}
	for _, c := range numbers(t, "surface.csv") {
		k := Kernel{Linear: c[0], Quadratic: c[1], Amplitude: c[2], LengthMM: c[3], MMPerDeg: c[4]}
		inv, ok := kernelInverse(k, at, slip)
		if !ok {
			t.Fatal("singular")
		}
		e := EarSurvey{At: at, Zones: []Zone{{0, band.Count, k, rowsOf(inv)}}, Scatter: make([]float64, band.Count), Valid: make([]bool, band.Count)}
		e.Scatter[0], e.Valid[0] = 1, true
		for i := range at {
			w := make([]float64, band.Count)
			for j := range at {
				w[0] += inv.At(i, j) * (y[j] - mean)
			}
			e.Weights = append(e.Weights, w)
		}
		s := Survey{Ears: [2]EarSurvey{e}}
		change, sd := s.Predict(0, [3]float64(c[5:8]))
		if math.Abs(change[0]-c[8]) > 1e-6 || math.Abs(sd[0]-c[9]) > 1e-4 {
			t.Errorf("%+v at %v: %.7f ± %.7f dB, want %.7f ± %.7f", k, c[5:8], change[0], sd[0], c[8], c[9])
		}
	}
}
