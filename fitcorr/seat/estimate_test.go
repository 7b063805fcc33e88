package seat

import "testing"

// TestMeanDF: the mean of seatings has the fewest degrees of freedom among
// them, whatever their order; 0 stands for many.
func TestMeanDF(t *testing.T) {
	for _, dfs := range [][]float64{{0, 8, 12}, {8, 0, 12}, {12, 8, 0}} {
		var of []Estimate
		for _, df := range dfs {
			of = append(of, Estimate{DF: df})
		}
		if got := Mean(of).DF; got != 8 {
			t.Errorf("%v: %g", dfs, got)
		}
	}
}

// TestMeanKeepsWhatIsShared: the confounded share of the variance does not
// average out over a subject's seatings, the rest does.
func TestMeanKeepsWhatIsShared(t *testing.T) {
	e := Estimate{Confounded: [3]float64{1, 0, 0.5}}
	for a := range 3 {
		e.Cov[a][a] = 4
	}
	got := Mean([]Estimate{e, e, e, e})
	for a, want := range [3]float64{4, 1, 2.5} {
		if got.Cov[a][a] != want {
			t.Errorf("axis %d: variance %g, want %g", a, got.Cov[a][a], want)
		}
	}
}
