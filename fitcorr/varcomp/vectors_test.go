package varcomp

import (
	"bufio"
	"compress/gzip"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"asworn/testdata/vectors"
)

// REML estimates, criterion and profile intervals against lme4
// (testdata/lme4/make.R).
func TestVectorsLme4(t *testing.T) {
	type set struct {
		outer, inner []string
		y            []float64
		nested       bool
	}
	sets := make(map[string]*set)
	for _, row := range vectors.Rows(t, "lme4", "data.csv") {
		s := sets[row[0]]
		if s == nil {
			s = &set{}
			sets[row[0]] = s
		}
		s.outer = append(s.outer, row[1])
		s.inner = append(s.inner, row[2])
		s.y = append(s.y, number(t, row[3]))
		s.nested = s.nested || row[2] != "0"
	}
	want := make(map[string]map[string]float64)
	for _, row := range vectors.Rows(t, "lme4", "estimates.csv") {
		if want[row[0]] == nil {
			want[row[0]] = make(map[string]float64)
		}
		want[row[0]][row[1]] = number(t, row[2])
	}
	if len(sets) < 9 {
		t.Fatalf("%d data sets, want 9 or more", len(sets))
	}
	for name, s := range sets {
		factors := [][]string{s.outer}
		parts := []string{"outer", "residual"}
		if s.nested {
			factors = append(factors, s.inner)
			parts = []string{"outer", "inner", "residual"}
		}
		d, err := Nested(factors...)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Fit(s.y)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{"mean": f.Mean, "mean_se": f.MeanSE, "reml_criterion": f.Criterion}
		for l, p := range parts {
			got["sd_"+p] = f.SD(l)
			got["lower_"+p], got["upper_"+p] = f.Interval(l, 0.95)
		}
		if len(got) != len(want[name]) {
			t.Errorf("%s: lme4 gives %d quantities, want %d", name, len(want[name]), len(got))
		}
		for q, w := range want[name] {
			// lme4 optimises to about 1e-6 of the criterion's scale.
			if g, ok := got[q]; !ok || math.Abs(g-w) > 2e-5*(1+math.Abs(w)) {
				t.Errorf("%s: %s = %.8g, lme4 %.8g", name, q, g, w)
			}
		}
	}
}

// The batches of dyestuff of Davies, Statistical Methods in Research and
// Production, as the documentation of lme4 has them: between batches 1764,
// within 2451, mean 1527.5 (published values quoted from memory).
func TestVectorsDyestuff(t *testing.T) {
	groups := make(map[string][]float64)
	var order []string
	for _, row := range vectors.Rows(t, "lme4", "data.csv") {
		if row[0] == "dyestuff" {
			if groups[row[1]] == nil {
				order = append(order, row[1])
			}
			groups[row[1]] = append(groups[row[1]], number(t, row[3]))
		}
	}
	var batches [][]float64
	for _, b := range order {
		batches = append(batches, groups[b])
	}
	p, err := ISO5725(batches)
	if err != nil {
		t.Fatal(err)
	}
	if math.Round(p.BetweenLabs*p.BetweenLabs) != 1764 || math.Round(p.Repeatability*p.Repeatability) != 2451 || p.Mean != 1527.5 {
		t.Errorf("between %.2f, within %.2f, mean %.2f", p.BetweenLabs*p.BetweenLabs, p.Repeatability*p.Repeatability, p.Mean)
	}
}

// The certified one-way analyses of variance of the NIST Statistical
// Reference Datasets (testdata/nist/make.py), in correct digits. The higher
// sets hold thirteen leading digits that do not vary, of sixteen that a
// float64 has: the data themselves are off by 5e-4 of the scatter before any
// arithmetic, so four digits are what can be had.
func TestVectorsNISTOneWay(t *testing.T) {
	for _, set := range []struct {
		name   string
		digits float64
	}{
		{"SiRstv", 11}, {"SmLs01", 13}, {"SmLs02", 13}, {"SmLs03", 12}, {"AtmWtAg", 8},
		{"SmLs04", 8}, {"SmLs05", 8}, {"SmLs06", 8}, {"SmLs07", 3.5}, {"SmLs08", 3.5}, {"SmLs09", 3.5},
	} {
		groups, certified := readNIST(t, set.name)
		a, err := OneWay(groups)
		if err != nil {
			t.Fatal(err)
		}
		got := []float64{a.DFBetween, a.SSBetween, a.MSBetween, a.F, a.DFWithin, a.SSWithin, a.MSWithin,
			a.RSquared, math.Sqrt(a.MSWithin)}
		if len(certified) != len(got) {
			t.Fatalf("%s: %d certified values, want %d", set.name, len(certified), len(got))
		}
		worst := math.Inf(1)
		for i, w := range certified {
			worst = min(worst, -math.Log10(math.Abs(got[i]-w)/math.Abs(w)))
		}
		t.Logf("%s: %.1f digits", set.name, worst)
		if worst < set.digits {
			t.Errorf("%s: %.1f correct digits, want %.1f; got %v, certified %v", set.name, worst, set.digits, got, certified)
		}
		// The balanced sets tie REML to the certified mean squares as well.
		var label []int
		var y []float64
		for g, values := range groups {
			for _, v := range values {
				label, y = append(label, g), append(y, v)
			}
		}
		d, err := Nested(label)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Fit(y)
		if err != nil {
			t.Fatal(err)
		}
		between := (certified[2] - certified[6]) / a.MeanSize
		if tol := math.Max(1e-6, math.Pow(10, -set.digits)); math.Abs(f.Var[1]/certified[6]-1) > tol ||
			math.Abs(f.Var[0]/between-1) > tol {
			t.Errorf("%s: REML %v, certified %v %v", set.name, f.Var, between, certified[6])
		}
	}
}

// The worked example of ISO 5725-2:1994, B.1: sulfur content of coal, mass
// per cent, eight laboratories, four levels. Data and published results are
// quoted from memory; that all twelve results follow from the data speaks for
// both, but is no second source.
func TestISO5725Example(t *testing.T) {
	for _, level := range []struct {
		labs           [][]float64
		mean, sr, bigR float64
	}{
		{[][]float64{{.71, .71, .70, .71}, {.69, .67, .68}, {.66, .65, .69}, {.67, .65, .66},
			{.70, .69, .66, .71, .69}, {.73, .74, .73}, {.71, .71, .69}, {.70, .65, .68}}, 0.690, 0.015, 0.026},
		{[][]float64{{1.20, 1.18, 1.23, 1.21}, {1.22, 1.21, 1.22}, {1.28, 1.31, 1.30}, {1.23, 1.18, 1.20},
			{1.31, 1.22, 1.22, 1.24}, {1.39, 1.36, 1.37}, {1.20, 1.26, 1.26}, {1.24, 1.22, 1.30}}, 1.252, 0.029, 0.061},
		{[][]float64{{1.68, 1.70, 1.68, 1.69}, {1.64, 1.64, 1.65}, {1.61, 1.61, 1.62}, {1.68, 1.66, 1.66},
			{1.64, 1.67, 1.60, 1.66, 1.68}, {1.70, 1.73, 1.73}, {1.69, 1.70, 1.68}, {1.67, 1.68, 1.67}}, 1.667, 0.017, 0.035},
		{[][]float64{{3.26, 3.26, 3.20, 3.24}, {3.20, 3.20, 3.20}, {3.37, 3.36, 3.38}, {3.16, 3.22, 3.23},
			{3.20, 3.19, 3.18, 3.27, 3.24}, {3.27, 3.31, 3.29}, {3.27, 3.24, 3.23}, {3.25, 3.26, 3.26}}, 3.250, 0.026, 0.058},
	} {
		p, err := ISO5725(level.labs)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name      string
			got, want float64
		}{{"mean", p.Mean, level.mean}, {"s_r", p.Repeatability, level.sr}, {"s_R", p.Reproducibility, level.bigR}} {
			if math.Round(c.got*1000) != math.Round(c.want*1000) {
				t.Errorf("level %.3f: %s = %.4f, published %.3f", level.mean, c.name, c.got, c.want)
			}
		}
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// readNIST returns the groups and the certified values: between df, SS, MS,
// F; within df, SS, MS; R²; residual standard deviation.
func readNIST(t *testing.T, name string) (groups [][]float64, certified []float64) {
	t.Helper()
	z, err := gzip.NewReader(vectors.Open(t, "nist", name+".dat.gz"))
	if err != nil {
		t.Fatal(err)
	}
	all, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	sc := bufio.NewScanner(strings.NewReader(string(all)))
	for line := 1; sc.Scan(); line++ {
		fields := strings.Fields(sc.Text())
		switch {
		case line >= 40 && line < 60: // the certified values stand here
			for _, f := range fields {
				if v, err := strconv.ParseFloat(f, 64); err == nil {
					certified = append(certified, v)
				}
			}
		case line > 60 && len(fields) == 2:
			g := int(number(t, fields[0])) - 1
			for g >= len(groups) {
				groups = append(groups, nil)
			}
			groups[g] = append(groups[g], number(t, fields[1]))
		}
	}
	return groups, certified
}
