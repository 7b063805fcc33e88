package varcomp

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// simulate draws groups of the given sizes.
func simulate(rng *rand.Rand, sizes []int, between, within float64) (label []int, y []float64) {
	for g, n := range sizes {
		b := between * rng.NormFloat64()
		for range n {
			label = append(label, g)
			y = append(y, b+within*rng.NormFloat64())
		}
	}
	return label, y
}

func split(label []int, y []float64) [][]float64 {
	var out [][]float64
	for i, g := range label {
		for g >= len(out) {
			out = append(out, nil)
		}
		out[g] = append(out[g], y[i])
	}
	return out
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol*(1+math.Abs(b)) }

// Balanced REML away from the boundary is the analysis of variance (Searle,
// Casella & McCulloch 1992, section 3.8); on it, REML is the pooled variance.
func TestBalancedREMLIsANOVA(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 12).Draw(t, "groups")
		n := rapid.IntRange(2, 8).Draw(t, "size")
		between := rapid.SampledFrom([]float64{0, 0.3, 1, 10, 1000}).Draw(t, "between")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		sizes := make([]int, k)
		for i := range sizes {
			sizes[i] = n
		}
		label, y := simulate(rng, sizes, between, 1)
		d, err := Nested(label)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Fit(y)
		if err != nil {
			t.Fatal(err)
		}
		a, err := OneWay(split(label, y))
		if err != nil {
			t.Fatal(err)
		}
		wantB, wantW := (a.MSBetween-a.MSWithin)/float64(n), a.MSWithin
		if wantB <= 0 {
			wantB, wantW = 0, (a.SSBetween+a.SSWithin)/float64(a.N-1)
		}
		if !near(f.Var[0], wantB, 1e-6) || !near(f.Var[1], wantW, 1e-6) {
			t.Fatalf("REML %v, ANOVA %v %v", f.Var, wantB, wantW)
		}
	})
}

// The closed form must agree with the likelihood written out with the full
// covariance matrix's inverse and determinant, by a dense route that shares
// no code with it.
func TestCriterionAgainstDenseMatrix(t *testing.T) {
	outer := []int{0, 0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2}
	inner := []int{0, 0, 1, 1, 2, 0, 0, 1, 0, 1, 1, 1}
	y := []float64{3, 3.5, 1, 2, 7, 4, 6, 2, 9, 8, 7.5, 11}
	d, err := Nested(outer, inner)
	if err != nil {
		t.Fatal(err)
	}
	s := newData(d, y)
	for _, v := range [][3]float64{{0, 0, 1}, {2, 0, 1}, {0, 3, 0.5}, {1.5, 0.7, 2}} {
		got := s.criterion(v[:2], v[2])
		want := denseCriterion(y, outer, inner, v)
		if !near(got, want, 1e-12) {
			t.Errorf("at %v: %v, dense %v", v, got, want)
		}
	}
}

func TestRefusals(t *testing.T) {
	if _, err := Nested([]int{1, 1, 1}); !errors.Is(err, ErrTooFew) {
		t.Errorf("one group: %v", err)
	}
	if _, err := Nested([]int{1, 2, 3}); !errors.Is(err, ErrNotSeparable) {
		t.Errorf("singletons: %v", err)
	}
	if _, err := Nested([]int{1, 1, 2, 2}, []int{1, 1, 1, 1}); !errors.Is(err, ErrNotSeparable) {
		t.Errorf("one inner group each: %v", err)
	}
	if _, err := Nested([]int{1, 1, 2}, []int{1, 2}); err == nil {
		t.Error("factors of different length accepted")
	}
	if _, err := Nested[int](); err == nil {
		t.Error("no factor accepted")
	}
	d, err := Nested([]int{1, 1, 2, 2})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Fit([]float64{1, 1, 2, 2}); !errors.Is(err, ErrNoSpread) {
		t.Errorf("no spread: %v", err)
	}
	if _, err := d.Fit([]float64{1, math.NaN(), 2, 2}); err == nil {
		t.Error("NaN accepted")
	}
	if _, err := d.Fit([]float64{1, 2}); err == nil {
		t.Error("short y accepted")
	}
}

// Estimates move with the unit and not with the level of y, and not with the
// order of the observations.
func TestEquivariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	label, y := simulate(rng, []int{3, 5, 2, 1, 4, 4}, 1, 0.7)
	d, _ := Nested(label)
	f, err := d.Fit(y)
	if err != nil {
		t.Fatal(err)
	}
	lo, hi := f.Interval(0, 0.95)
	z := make([]float64, len(y))
	rev := make([]int, len(y))
	for i := range y {
		z[len(y)-1-i] = 1000 + 10*y[i]
		rev[len(y)-1-i] = label[i]
	}
	d2, _ := Nested(rev)
	g, err := d2.Fit(z)
	if err != nil {
		t.Fatal(err)
	}
	lo2, hi2 := g.Interval(0, 0.95)
	for _, c := range [][2]float64{{g.Mean, 1000 + 10*f.Mean}, {g.SD(0), 10 * f.SD(0)}, {g.SD(1), 10 * f.SD(1)}, {lo2, 10 * lo}, {hi2, 10 * hi}} {
		if !near(c[0], c[1], 1e-6) {
			t.Errorf("%v, want %v", c[0], c[1])
		}
	}
}

// The stated 95 % intervals cover the truth, on balanced and unbalanced
// panels, with and without a listener component.
func TestIntervalCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	const runs = 1500
	designs := map[string][]int{
		"8 × 5":      {5, 5, 5, 5, 5, 5, 5, 5},
		"unbalanced": {5, 2, 7, 1, 3, 4, 1, 6, 2, 3},
		"15 × 3":     {3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3},
	}
	for name, sizes := range designs {
		for _, between := range []float64{0.3, 1, 3} {
			rng := rand.New(rand.NewPCG(11, uint64(between*10)))
			hitB, hitW := 0, 0
			for range runs {
				label, y := simulate(rng, sizes, between, 1)
				d, _ := Nested(label)
				f, err := d.Fit(y)
				if err != nil {
					t.Fatal(err)
				}
				if lo, hi := f.Interval(0, 0.95); lo <= between && between <= hi {
					hitB++
				}
				if lo, hi := f.Interval(1, 0.95); lo <= 1 && 1 <= hi {
					hitW++
				}
			}
			b, w := float64(hitB)/runs, float64(hitW)/runs
			t.Logf("%s, between %.1f: covers between %.3f, within %.3f", name, between, b, w)
			// Near zero the lower end is cut off at the boundary and the
			// interval of the between component is known to be cautious.
			if b < 0.93 || b > 0.99 || w < 0.93 || w > 0.97 {
				t.Errorf("%s, between %.1f: covers between %.3f, within %.3f", name, between, b, w)
			}
		}
	}
}

func BenchmarkFitAndIntervals(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	label, y := simulate(rng, []int{5, 5, 5, 5, 5, 5, 5, 5}, 1, 1)
	d, _ := Nested(label)
	for b.Loop() {
		f, _ := d.Fit(y)
		f.Interval(0, 0.95)
		f.Interval(1, 0.95)
	}
}
