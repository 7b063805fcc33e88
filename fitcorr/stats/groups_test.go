package stats

import (
	"math"
	"testing"
)

// By hand: the groups' means are 2, 6 and 1.
func TestGroupMean(t *testing.T) {
	mean, se, df := GroupMean([]string{"a", "b", "a", "c", "a"}, []float64{1, 6, 2, 1, 3})
	if want := math.Sqrt((1+9+4)/2.0) / math.Sqrt(3); mean != 3 || math.Abs(se-want) > 1e-12 || df != 2 {
		t.Errorf("mean %g, se %g, df %g; want 3, %g, 2", mean, se, df, want)
	}
	if mean, se, df := GroupMean([]string{"a", "a"}, []float64{1, 3}); mean != 2 || !math.IsNaN(se) || df != 0 {
		t.Errorf("one group: %g, %g, %g", mean, se, df)
	}
	if mean, _, df := GroupMean(nil, nil); !math.IsNaN(mean) || df != 0 {
		t.Errorf("none: %g, %g", mean, df)
	}
}
